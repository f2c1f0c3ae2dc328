"""`python -m straycell`."""

if __name__ == "__main__":
    try:
        from straycell.cli import run
    # Whoever presses Ctrl-C at once sees no traceback either.
    except KeyboardInterrupt:
        raise SystemExit(130) from None
    run()
