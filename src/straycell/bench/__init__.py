"""The use cases of the bench, without a terminal: what may serve, filing a trace, recording and putting right."""
