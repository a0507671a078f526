"""The demonstration site: an invented pottery studio, simulated."""
