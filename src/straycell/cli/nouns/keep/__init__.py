"""Commands that keep: boxes, due, stock, incidents, hand-over, exchange, the store, the demo."""
