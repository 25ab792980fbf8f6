"""From a record to an answer. Never touches a port."""
