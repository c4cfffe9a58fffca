"""The epoch: drawn by chance when a journal begins, so that its ids are like those of no other."""

import secrets

LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"


def draw() -> str:
    """Six random letters that tell this journal's ids from those of any other."""
    return "".join(secrets.choice(LETTERS) for _ in range(6))
