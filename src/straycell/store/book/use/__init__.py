"""What cells are for and where they leave to: projects, builds, hand-overs."""
