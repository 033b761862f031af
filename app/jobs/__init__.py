"""Jobs: one device on one visit, from booking in to the balanced closing count."""
