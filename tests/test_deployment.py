"""The files under docker/ do what they say: units, images, compose files and proxy.

No container runs here: what can be tried is tried with the real programs, the rest is held
against the documents that the formats come from.
"""

import re
import shlex
import shutil
import subprocess
import sys
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import pytest
import yaml  # type: ignore[import-untyped]

from joulebook.cli.commands import command_named, command_names
from joulebook.cli.stopping import STOP_S
from joulebook.settings import Settings, load_settings
from joulebook.web.api.delivery import MOST_BYTES
from joulebook_bridge.parser import make_parser

ROOT = Path(__file__).parents[1]
DOCKER = ROOT / "docker"
UNITS = ["joulebook.service", "joulebook-bridge.service"]
DOCKERFILES = ["Dockerfile", "bridge.Dockerfile"]
COMPOSE = ["compose.yaml", "compose.mosquitto.yaml", "compose.fleet.yaml"]
#: Settings that the containers take from files, and what those hold.
SECRETS = {
    "JOULEBOOK_BROKER_FILE": "mqtts://joulebook:x@mosquitto:8883",
    "JOULEBOOK_DATABASE_FILE": "postgresql://joulebook:x@postgres:5432/joulebook",
}
#: What .dockerignore lets through to the builder; all else stays here.
SENT = [
    line[1:]
    for line in (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines()
    if line.startswith("!")
]


def unit(name: str) -> dict[str, str]:
    """Return the assignments of a unit; of a name that comes twice, the last."""
    text = (DOCKER / name).read_text(encoding="utf-8")
    return dict(re.findall(r"^(\w+)=(.*)$", text, flags=re.MULTILINE))


@pytest.mark.parametrize("name", UNITS)
def test_systemd_understands_the_unit_and_finds_it_closed(name: str, tmp_path: Path) -> None:
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("systemd-analyze is not installed")  # pragma: no cover -- Debian has it
    # It wants the command to be there, so another one stands for it.
    text = (DOCKER / name).read_text(encoding="utf-8")
    here = tmp_path / name
    here.write_text(re.sub(r"^ExecStart=\S+", "ExecStart=/bin/true", text, flags=re.MULTILINE))
    verified = subprocess.run([program, "verify", str(here)], capture_output=True, text=True)
    assert (verified.returncode, verified.stderr) == (0, "")
    # 0 is closed to everything, 10 is open to everything; 20 here is 2.0 there.
    secured = subprocess.run(
        [program, "security", "--offline=yes", "--threshold=20", str(here)], capture_output=True
    )
    assert secured.returncode == 0, secured.stdout.decode()


def test_the_units_start_commands_that_exist() -> None:
    _, command, *arguments = shlex.split(unit(UNITS[0])["ExecStart"])
    assert command in command_names()
    assert arguments == ["--data", "/var/lib/joulebook"]
    _, *bridge = shlex.split(unit(UNITS[1])["ExecStart"])
    assert make_parser().parse_args(bridge).command == "run"


def test_the_service_has_the_time_to_stop_in_order_everywhere() -> None:
    assert unit(UNITS[0])["Type"] == "notify"
    assert int(unit(UNITS[0])["TimeoutStopSec"]) > STOP_S
    assert unit(UNITS[0])["Restart"] == "on-failure"
    for name in COMPOSE:
        grace = compose(name)["services"]["joulebook"]["stop_grace_period"]
        assert int(grace.removesuffix("s")) > STOP_S


def instructions(name: str) -> list[list[str]]:
    """Return the instructions of a Dockerfile, word by word."""
    text = (DOCKER / name).read_text(encoding="utf-8").replace("\\\n", " ")
    lines = [line.split("#")[0] if line.startswith("#") else line for line in text.splitlines()]
    return [line.split() for line in lines if line.strip()]


@pytest.mark.parametrize("name", DOCKERFILES)
def test_images_pin_what_they_install_and_run_as_nobody_special(name: str) -> None:
    steps = instructions(name)
    for words in steps:
        if "install" in words and "pip" in words:
            pips = " ".join(words).split("&&")
            for pip in (each for each in pips if " install " in each and "pip" in each):
                # Either pinned with checksums, or the wheel that was just built and nothing else.
                assert "--require-hashes" in pip or "--no-deps --no-index" in pip, pip
    users = [words[1] for words in steps if words[0] == "USER"]
    assert len(users) == 1
    assert int(users[0]) >= 10_000
    for words in steps:
        if words[0] == "COPY" and not words[1].startswith("--from"):
            for source in words[1:-1]:
                assert (ROOT / source).exists(), source
                assert any(fnmatch(source, each) or source.startswith(f"{each}/") for each in SENT)


def test_the_health_check_asks_what_the_service_answers() -> None:
    [check] = [words for words in instructions("Dockerfile") if words[0] == "HEALTHCHECK"]
    assert f"'http://127.0.0.1:{Settings().port}/readyz'," in " ".join(check)
    exposed = [words[1:] for words in instructions("Dockerfile") if words[0] == "EXPOSE"]
    assert exposed == [[str(Settings().port), str(Settings().mqtt_port)]]


def compose(name: str) -> dict[str, Any]:
    parsed: dict[str, Any] = yaml.safe_load((DOCKER / name).read_text(encoding="utf-8"))
    return parsed


@pytest.mark.parametrize("name", COMPOSE)
def test_containers_are_closed_and_their_files_are_there(name: str) -> None:
    content = compose(name)
    for service, parts in content["services"].items():
        assert parts["read_only"] is True, service
        assert parts["cap_drop"] == ["ALL"], service
        assert parts["security_opt"] == ["no-new-privileges:true"], service
        if "build" in parts:
            assert (DOCKER / parts["build"]["context"] / parts["build"]["dockerfile"]).is_file()
        for volume in parts["volumes"]:
            source = volume.split(":")[0]
            assert source in content["volumes"] or volume.endswith(":ro")
    pages = content["services"]["joulebook"]["ports"][0]
    assert pages == f"127.0.0.1:{Settings().port}:{Settings().port}"


@pytest.mark.parametrize("name", COMPOSE)
def test_the_settings_of_the_containers_are_settings(name: str, tmp_path: Path) -> None:
    given = dict(compose(name)["services"]["joulebook"]["environment"])
    for variable, url in SECRETS.items():
        if variable in given:
            given[variable] = str(tmp_path / variable)
            (tmp_path / variable).write_text(f"{url}\n")
    assert load_settings("", given).public_url == "http://localhost:8350"


def test_the_containers_of_many_homes_run_commands_that_exist(tmp_path: Path) -> None:
    services = compose("compose.fleet.yaml")["services"]
    for name in ("ingest-1", "ingest-2"):
        command, *arguments = services[name]["command"]
        made = command_named(command).make_context(command, list(arguments))
        assert made.params["data_dir"] == Path("/data")
        environment = dict(services[name]["environment"])
        for variable, url in SECRETS.items():
            environment[variable] = str(tmp_path / variable)
            (tmp_path / variable).write_text(url)
        read = load_settings("", {k: v for k, v in environment.items() if k.startswith("JOULE")})
        assert read.broker_share == "homes"
        assert read.database == SECRETS["JOULEBOOK_DATABASE_FILE"]
    assert services["joulebook"]["environment"]["JOULEBOOK_SCHEDULER"] == "tcp://scheduler:8786"
    assert services["joulebook"]["build"]["args"]["PINS"] in {
        each.name for each in DOCKER.iterdir()
    }
    dask = Path(sys.executable).with_name("dask")
    for name in ("scheduler", "worker"):
        program, command = services[name]["entrypoint"]
        assert program == dask.name
        told = subprocess.run([dask, command, "--help"], capture_output=True, text=True, check=True)
        for word in services[name]["command"]:
            if word.startswith("--"):
                assert word.split("=")[0] in told.stdout, word


def test_what_a_deployment_keeps_secret_is_not_put_under_version_control() -> None:
    ignored = (DOCKER / ".gitignore").read_text(encoding="utf-8").splitlines()
    named = (DOCKER / "compose.mosquitto.yaml").read_text(encoding="utf-8")
    for secret in ("passwords", "broker.url", "certs/"):
        assert f"mosquitto/{secret}" in ignored
        assert not any(fnmatch(f"docker/mosquitto/{secret}", each) for each in SENT)
        assert f"./mosquitto/{secret.rstrip('/')}" in named


def test_the_proxy_passes_on_what_the_service_needs_and_logs_no_address() -> None:
    text = (DOCKER / "proxy" / "nginx.conf").read_text(encoding="utf-8")
    assert f"proxy_pass http://127.0.0.1:{Settings().port};" in text
    assert "access_log off;" in text
    assert "proxy_set_header X-Forwarded-For $remote_addr;" in text
    assert f"client_max_body_size {MOST_BYTES['csv'] // 2**20}m;" in text
    told = re.findall(r'(public_url|trusted_proxies) = "([^"]+)"', text)
    settings = load_settings("\n".join(f'{name} = "{value}"' for name, value in told), {})
    assert (settings.public_url[:8], settings.trusted_proxies) == ("https://", "127.0.0.1")
    assert text.count("{") == text.count("}")
