"""Another bench's store taken into this one."""
