"""The bench's server: loopback only, one page, one websocket, one process aside for what takes long."""
