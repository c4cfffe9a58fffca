"""A state after a start: fitted to this boot and this plan."""
