"""The Unix socket by which the command line speaks to the daemon.

wire.py says what a line may hold, peers.py who is at the other end, connection.py keeps one
client's buffers, server.py is the daemon's thread, client.py the other side.
"""
