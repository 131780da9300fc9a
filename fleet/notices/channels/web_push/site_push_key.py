"""The key by which push services know this site (VAPID, RFC 8292), and the header that proves it."""

import base64
from datetime import datetime, timedelta

import jwt
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

TOKEN_LIFETIME = timedelta(hours=12)  # the standard allows 24
CURVE_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551  # of P-256 (FIPS 186)


def derive_push_key(secret: str) -> ec.EllipticCurvePrivateKey:
    """Return the private key that a kept secret stands for, always the same one.

    64 bytes are derived for a number of 32, so that no number is noticeably likelier than another.
    """
    expanded = HKDF(hashes.SHA256(), length=64, salt=None, info=b"gaugeglass web push").derive(secret.encode())
    return ec.derive_private_key(int.from_bytes(expanded, "big") % (CURVE_ORDER - 1) + 1, ec.SECP256R1())


def public_key_text(key: ec.EllipticCurvePrivateKey) -> str:
    """Return the public key as a browser takes it for a subscription."""
    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    return base64.urlsafe_b64encode(point).rstrip(b"=").decode()


def authorization_header(key: ec.EllipticCurvePrivateKey, origin: str, contact: str, at: datetime) -> str:
    """Return the header for one origin; `contact` is whom its operator may write to, a mailto: or https: address."""
    claims = {"aud": origin, "exp": int((at + TOKEN_LIFETIME).timestamp())}
    token = jwt.encode({**claims, "sub": contact} if contact else claims, key, algorithm="ES256")
    return f"vapid t={token}, k={public_key_text(key)}"
