"""Files by the names a person types: read within bounds, written whole and in the place of nothing else."""
