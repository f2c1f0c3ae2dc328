"""Commands that give cells second work: loads, run time, charging, projects, match, build, labels."""
