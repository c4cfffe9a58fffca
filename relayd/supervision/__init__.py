"""Who watches the watcher: heartbeat, peers, an outside watch, the board's own senses, identity.

Adapters around the core: each reads the world and posts events. Nothing here may hold up the loop.
"""
