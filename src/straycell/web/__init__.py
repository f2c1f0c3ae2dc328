"""The bench page: the use cases of `bench` for a phone or a tablet. It decides nothing by itself."""
