"""When the owner is to be told of something, and when that is over."""
