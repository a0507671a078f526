"""An invented plant that speaks Modbus: what hangs on the wall of a small pottery studio."""
