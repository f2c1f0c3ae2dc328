"""The rules, one file a subject; each rule is a function from a case to its reasons."""
