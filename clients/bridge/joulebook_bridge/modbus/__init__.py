"""Reading registers: lines, what is read at once, and what the words mean. Nothing here writes."""
