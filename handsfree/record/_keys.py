"""Signing keys: Ed25519 (RFC 8032), the private one in a file with a passphrase, the public ones in a shop's folder.

A private key is PKCS #8 in PEM, encrypted (RFC 5958, RFC 8018); a public key is a PEM file ``NAME.pub`` in the
folder of keys, and its file name is who it belongs to. Who may put a file into that folder decides whose
signature counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from ._errors import RecordError
from ._files import explain, make_folder, write_new

__all__ = ["PUBLIC", "Key", "load_key", "new_key", "private_pem", "public_keys", "verified"]

PUBLIC = ".pub"
_LEAST = 8  # characters of a passphrase


class Key:
    """A private key, open. ``public`` is its public half, 64 hex digits."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private
        self.public = _hex(private.public_key())

    def sign(self, message: bytes) -> str:
        """The signature, 128 hex digits."""
        return self._private.sign(message).hex()


def _hex(key: Ed25519PublicKey) -> str:
    return key.public_bytes(Encoding.Raw, PublicFormat.Raw).hex()


def verified(public: str, signature: str, message: bytes) -> bool:
    """Whether the signature (hex) of the message is this public key's (hex)."""
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def new_key(path: Path, keys: Path, passphrase: str) -> Path:
    """Make a key pair: the private key in ``path``, the public one in the folder ``keys`` as ``NAME.pub``.

    Neither may exist. Returns the public key's file. Raises RecordError.
    """
    if len(passphrase) < _LEAST:
        raise RecordError(f"the passphrase has {len(passphrase)} characters; choose one of {_LEAST} or more")
    public = keys / f"{path.stem}{PUBLIC}"
    for taken in (path, public):
        if taken.exists():
            raise RecordError(f"{taken}: is there already; choose another name, keys are never overwritten")
    private = Ed25519PrivateKey.generate()
    pem = private.private_bytes(
        Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(passphrase.encode())
    )
    try:
        make_folder(keys)
        write_new(path, pem)
        write_new(public, private.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo))
    except OSError as error:
        raise explain(f"can't write the key {error.filename or path}", error) from None
    return public


def load_key(path: Path, passphrase: str) -> Key:
    """Open a private key. Raises RecordError."""
    pem = private_pem(path)
    try:
        key = load_pem_private_key(pem, passphrase.encode() or None)
    except TypeError:  # a passphrase too many, or none where one is needed
        raise RecordError(f"{path}: a key with a passphrase is wanted, and its passphrase") from None
    except (ValueError, UnsupportedAlgorithm):
        raise RecordError(f"{path}: wrong passphrase, or no key file of handsfree keys new") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise RecordError(f"{path}: no Ed25519 key; make one with handsfree keys new")
    return Key(key)


def private_pem(path: Path) -> bytes:
    """A private key's file as it is, before its passphrase is asked for. Raises RecordError: no such file, or a
    public key's."""
    try:
        pem = path.read_bytes()
    except OSError as error:
        raise explain(f"can't read the key {path}", error, folder=False) from None
    if b"BEGIN PUBLIC KEY" in pem:
        raise RecordError(
            f"{path}: that is the public key, which can't sign; give the private one, the file that was named to "
            f"handsfree keys new (as {path.stem}.pem)"
        )
    return pem


def public_keys(folder: Path) -> Mapping[str, str]:
    """Public key (hex) -> who it belongs to, of every ``*.pub`` in the folder. Raises RecordError."""
    found = {}
    for path in sorted(folder.glob(f"*{PUBLIC}")):
        try:
            key = load_pem_public_key(path.read_bytes())
        except (OSError, ValueError, UnsupportedAlgorithm):
            raise RecordError(f"{path}: no public key in PEM; take it out of the folder") from None
        if not isinstance(key, Ed25519PublicKey):
            raise RecordError(f"{path}: no Ed25519 key; take it out of the folder")
        found[_hex(key)] = path.stem
    return found
