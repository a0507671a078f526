"""MQTT: packets, sessions and the listener, and the client of somebody else's broker."""
