"""What every command shares: the root, global options, errors, output, clock, values on the command line."""
