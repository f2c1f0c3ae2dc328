"""Label stocks: their geometry (stock), the TOML files that define them (files), which one a cell takes (choose)."""
