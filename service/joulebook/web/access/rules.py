"""What the person who runs the service decided about who gets in."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessRules:
    """How the service is reached.

    Attributes
    ----------
    demonstration : bool
        Whoever asks from this machine may do everything, whether there is an owner or not.
    secure : bool
        Browsers reach us by TLS, although the request may not show it.
    """

    demonstration: bool = False
    secure: bool = False
