"""Commands that judge: verdicts, rules, cautions, discard."""
