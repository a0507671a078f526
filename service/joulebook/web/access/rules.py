"""What the person who runs the service decided about who gets in."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessRules:
    """How the service is reached.

    Attributes
    ----------
    demonstration : bool
        Whoever asks from this machine may do everything, whether there is an owner or not.
    public_url : str
        How browsers reach us, where that is not as a request says: ``https://host``, no path.
    """

    demonstration: bool = False
    public_url: str = ""

    @property
    def secure(self) -> bool:
        """Browsers reach us by TLS, although the request may not show it."""
        return self.public_url.startswith("https:")
