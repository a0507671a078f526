"""What a bridge of the studio is told by its environment."""


def bridge_environ(port: int = 1883, token: str = "sesame") -> dict[str, str]:
    """Return the settings of the bridge in the shed, whose service is on this machine."""
    return {
        "JOULEBOOK_BRIDGE_SERVER": f"mqtt://127.0.0.1:{port}",
        "JOULEBOOK_BRIDGE_SITE": "studio",
        "JOULEBOOK_BRIDGE_NAME": "shed",
        "JOULEBOOK_BRIDGE_TOKEN": token,
    }
