"""From bouncing contacts to conditions: facts, supplies, level, pumps, and the tables that join them."""
