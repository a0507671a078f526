"""The four words that every command needs to reach the service, from wherever they were given."""

from collections.abc import Mapping
from pathlib import Path

from joulebook_bridge.errors import WrongError

PREFIX = "JOULEBOOK_BRIDGE_"
SETTINGS = {
    "server": "where the service takes readings, as mqtt://127.0.0.1:1883",
    "site": "the site that the readings belong to, as studio",
    "name": "the name that the token was made for, as shed",
    "token": "the token; rather in the environment, where the list of processes does not show it",
}


def setting(
    name: str,
    given: str,
    environ: Mapping[str, str],
    token_file: str = "",
    *,
    in_file: bool = False,
) -> str:
    """Return one of the four words.

    Parameters
    ----------
    name : str
        Which one.
    given : str
        What the command line or the file says, or nothing.
    environ : mapping
        The environment. It counts over a file, and a command line counts over it.
    token_file : str
        A file that holds the token. The environment may name one as well.
    in_file : bool
        Whether ``given`` is from a file.

    Raises
    ------
    WrongError
        If nobody said it, or the file cannot be read.
    """
    variable = PREFIX + name.upper()
    said = environ.get(variable, "")
    found = (said or given) if in_file else (given or said)
    if found:
        return found
    token_file = environ.get(f"{PREFIX}TOKEN_FILE", "") or token_file
    if name == "token" and token_file:
        return _read(token_file)
    key = "token_file" if name == "token" else name
    raise WrongError(
        f"there is no {name}",
        where=f"{key} in the file, or {variable}" if in_file else f"--{name}, or {variable}",
        expected=SETTINGS[name].partition(";")[0],
        next_step="give it there",
    )


def own_certificate(
    environ: Mapping[str, str], certificate: str = "", key: str = ""
) -> tuple[str, str]:
    """Return the files of the bridge's certificate and its key; empty where it has none.

    A service may ask for one besides the token. The environment counts over a file.

    Raises
    ------
    WrongError
        If one is named without the other.
    """
    certificate = environ.get(f"{PREFIX}CERTIFICATE", "") or certificate
    key = environ.get(f"{PREFIX}KEY", "") or key
    if bool(certificate) != bool(key):
        raise WrongError(
            "a certificate and its key belong together, and one is missing",
            where=f"certificate and key in the file, or {PREFIX}CERTIFICATE and {PREFIX}KEY",
            expected="both, or neither",
            next_step="name the file of the other one, too",
        )
    return certificate, key


def _read(path: str) -> str:
    try:
        token = Path(path).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        token, reason = "", str(error)
    else:
        reason = "it is empty"
    if not token:
        raise WrongError(
            f"the token's file gives none: {reason}",
            where=path,
            expected="one line: the token",
            next_step="put the token there, readable by the bridge alone (chmod 600)",
        )
    return token
