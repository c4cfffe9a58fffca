"""An alarm's life: delays, the ISA-18.2 table, marks, bursts, urgency."""
