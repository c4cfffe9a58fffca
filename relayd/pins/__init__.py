"""Real pins: the only package that knows gpiozero and gpiod."""
