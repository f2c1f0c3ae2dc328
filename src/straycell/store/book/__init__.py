"""What is kept, a file a thing: cells, readings, tear-downs, boxes, builds, hand-overs."""
