"""The files for running the service name commands, options, settings and files that exist."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from configparser import ConfigParser
from pathlib import Path

import pytest
import yaml
from typer.main import get_command

from solespan.api.cli.main import build_app
from solespan.api.cli.serve import refuse_open_door
from solespan.api.services.operation.doctor import examine
from solespan.api.settings import PREFIX, Settings
from solespan.api.wiring import build_services
from tests.test_documents import ROOT

FOLDER = ROOT / "docs" / "running"
FILES = {path.name: path.read_text("utf-8") for path in FOLDER.iterdir()}
SECRETS = {
    "SOLESPAN_SECRET_KEY": "0123456789" * 4 + "abcdefgh",
    "SOLESPAN_BACKUP_PASSPHRASE": "x" * 12,
}


def unit(name: str) -> ConfigParser:
    parsed = ConfigParser(interpolation=None)
    parsed.optionxform = str
    parsed.read_string(FILES[name])
    return parsed


def parse_command(words: list[str]) -> None:
    """Raise where no such command or option is there."""
    assert Path(words[0]).name == "solespan"
    command = get_command(build_app()).commands[words[1]]
    command.make_context(words[1], words[2:])


def test_every_setting_that_a_file_names_is_there():
    known = {f"{PREFIX}{name.upper()}" for name in Settings.model_fields}
    for name, text in FILES.items():
        assert set(re.findall(r"SOLESPAN_\w*[A-Z]\b", text)) <= known, name
    assert sum("SOLESPAN_PUBLIC_ADDRESS" in text for text in FILES.values()) >= 2


def test_the_unit_starts_a_command_that_is_there():
    service = unit("solespan.service")["Service"]
    parse_command(service["ExecStart"].split())
    assert service["ExecReload"].endswith("kill -HUP $MAINPID")
    assert unit("solespan.socket")["Socket"]["ListenStream"] in FILES["Caddyfile"]
    for name in re.findall(r"docs/running/([\w.-]+)", FILES["README.md"]):
        assert name in FILES
    for address in (service["EnvironmentFile"], service["WorkingDirectory"]):
        assert address in FILES["README.md"]
        assert address in FILES["solespan-admin"]
    assert service["ExecStart"].split()[0] in FILES["solespan-admin"]


def test_each_edit_of_the_page_finds_its_place():
    edits = re.findall(r"sed -i '?s/([^/]+)/[^/]+/'?((?: [\w/.-]+)+)", FILES["README.md"])
    assert len(edits) == 3
    for pattern, names in edits:
        for name in names.split():
            assert pattern in FILES[Path(name).name], (pattern, name)


def test_the_page_installs_what_the_unit_calls():
    """A small Debian has no `kill` outside of the shell."""
    packages = re.findall(r"apt-get install -y (.+)", FILES["README.md"])[0].split()
    assert unit("solespan.service")["Service"]["ExecReload"].startswith("/bin/kill ")
    assert "procps" in packages


def test_the_page_stops_the_socket_too():
    """An open socket starts the service again, in the middle of an upgrade."""
    for verb in ("stop", "start"):
        said = re.findall(rf"^systemctl {verb} (.+)$", FILES["README.md"], re.MULTILINE)
        assert said == ["solespan.socket solespan.service"]


def test_the_image_holds_the_wheels_folders_and_no_more():
    """A copy of the whole folder would bring secrets into the image."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    folders = set(project["tool"]["hatch"]["build"]["targets"]["wheel"]["only-include"])
    copies = re.findall(r"^COPY (.+) (\S+)$", FILES["Containerfile"], re.MULTILINE)
    sources = {name for names, _ in copies for name in names.split()}
    assert sources == folders | {"pyproject.toml", "README.md", ".ci/constraints.txt"}
    assert all(target == names for names, target in copies if names in folders)
    wanted = set(re.findall(r"\$\{(\w+):\?\}", FILES["compose.yaml"]))
    page = FILES["README.md"]
    assert wanted == {"SITE", *SECRETS}
    assert "echo SITE=YOUR.NAME > .env" in page
    assert page.count("for name in SECRET_KEY BACKUP_PASSPHRASE; do") == 2


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="there is no systemd here")
def test_systemd_takes_the_units(tmp_path):
    for name in ("solespan.service", "solespan.socket"):
        text = FILES[name].replace("/opt/solespan/.venv/bin/solespan", "/bin/true")
        (tmp_path / name).write_text(text)
    units = [str(tmp_path / name) for name in ("solespan.socket", "solespan.service")]
    ran = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *units],
        capture_output=True,
        text=True,
        check=False,
    )
    said = [line for line in ran.stderr.splitlines() if "solespan." in line]
    assert not said, said


def test_the_settings_file_lets_the_service_start_and_the_doctor_is_content(monkeypatch, tmp_path):
    lines = [line for line in FILES["solespan.env"].splitlines() if line and line[0] != "#"]
    given = dict(line.split("=", 1) for line in lines)
    assert {name for name, value in given.items() if not value} == SECRETS.keys()
    for name, value in (given | SECRETS).items():
        assert re.fullmatch(r"[\w:/.@-]+", value)
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", f"sqlite:///{tmp_path}/new.sqlite3")
    monkeypatch.setenv("SOLESPAN_BACKUP_FOLDER", str(tmp_path))
    settings = Settings()
    refuse_open_door("127.0.0.1", settings)
    services = build_services(settings)
    states = {one.subject: one.state for one in examine(services)}
    services.database.close()
    assert states["proxy"] == states["secrets"] == states["mail"] == "ok"


def test_the_container_files_name_commands_images_and_settings_that_are_there(monkeypatch):
    container, compose = FILES["Containerfile"], yaml.safe_load(FILES["compose.yaml"])
    parse_command(
        [word.strip('"') for word in re.findall(r'"\w+"', container.rpartition("CMD")[2])]
    )
    images = [service["image"] for service in compose["services"].values() if "image" in service]
    images += re.findall(r"^FROM (\S+)", container, re.MULTILINE)
    assert len(images) == 2
    assert all(re.fullmatch(r"[a-z]+:[\w.-]+", image) for image in images)
    ours, proxy = compose["services"]["solespan"], compose["services"]["proxy"]
    assert (FOLDER / ours["build"]["context"]).resolve() == ROOT
    assert (ROOT / ours["build"]["dockerfile"]).exists()
    assert "expose" not in ours
    assert "ports" not in ours, "only the proxy is reached from outside"
    assert set(proxy["environment"]) == set(re.findall(r"\{\$(\w+):", FILES["Caddyfile"]))
    volumes = [volume.partition(":")[0] for one in (ours, proxy) for volume in one["volumes"]]
    assert {name for name in volumes if "/" not in name} == set(compose["volumes"])
    for name, value in ours["environment"].items():
        monkeypatch.setenv(name, re.sub(r"\$\{SITE[^}]*\}", "shoes.example.org", value))
    for name, value in SECRETS.items():
        monkeypatch.setenv(name, value)
    refuse_open_door("0.0.0.0", Settings())
