"""relayd: watches pump panels' alarm contacts and sees to it that a person learns of an alarm."""

__version__ = "0.1.0"
