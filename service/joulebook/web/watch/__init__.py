"""How the service itself does, told to those who watch it."""
