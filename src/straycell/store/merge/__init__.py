"""Another bench's writes taken into this store."""
