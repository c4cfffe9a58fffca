"""Replies to messages, read from a mailbox (IMAP) without any open port of this unit.

`reader` is a process of its own with limits of memory and time; `keeper` is the daemon's side of
it; `mail` takes one mail apart, in a child with tighter limits still. Mail is never parsed in the
alarm path: what comes out of the reader is one short line of plain values a mail.
"""
