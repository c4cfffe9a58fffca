"""The pure core: facts go in, decisions come out. Knows no clock, thread, file, socket or chance."""
