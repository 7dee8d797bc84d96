"""Keys and signatures. Apart from the rest of the room, because ``cryptography`` takes time to load."""

from ._keys import load_key, new_key, private_pem, public_keys
from ._sign import DECISIONS, Decision, check_overturned, check_signatures, sign

__all__ = [
    "DECISIONS",
    "Decision",
    "check_overturned",
    "check_signatures",
    "load_key",
    "new_key",
    "private_pem",
    "public_keys",
    "sign",
]
