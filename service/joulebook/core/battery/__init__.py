"""What the battery holds: anchors, the fit of a record, fade, single nights, deep tests."""
