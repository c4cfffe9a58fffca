"""What people do at a panel and must undo: horn watch, loose ends, visits."""
