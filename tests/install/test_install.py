"""`matwarden install --root DIR`: what it lays, what it leaves alone, what it only tells. Nothing here touches a Pi."""

from __future__ import annotations

import argparse
import shutil
import subprocess
from pathlib import Path, PurePosixPath

import pytest

from helpers_process import ROOT, Ran, command, settings_file
from helpers_settings import REAL
from matwarden.exit_codes import Exit
from matwarden.install import carry_out
from matwarden.install_plan import already_there, unusable_program

UNIT = "etc/systemd/system/matwarden.service"
EXAMPLE = "etc/matwarden/matwarden.example.toml"


@pytest.fixture
def image(tmp_path: Path) -> Path:
    root = tmp_path / "image"
    root.mkdir()
    return root


def install(root: Path, *words: str | Path) -> Ran:
    ran = command("install", "--root", root, *words)
    assert "Traceback" not in ran.err
    return ran


def picture(root: Path) -> dict[str, tuple[int, bytes | str, int]]:
    """Every path with its mode, content or target, and time of change."""
    found: dict[str, tuple[int, bytes | str, int]] = {}
    for path in sorted(root.rglob("*")):
        status = path.lstat()
        content = str(path.readlink()) if path.is_symlink() else path.read_bytes() if path.is_file() else b""
        found[str(path.relative_to(root))] = (status.st_mode, content, status.st_mtime_ns)
    return found


def test_it_lays_everything_the_service_needs(image: Path) -> None:
    """Unit, user, settings to copy, a directory for secrets that only root may enter, and a command for people."""
    ran = install(image)
    assert ran.code == Exit.OK, ran.err
    assert (image / UNIT).read_bytes() == (ROOT / "systemd/matwarden.service").read_bytes()
    assert (image / EXAMPLE).read_bytes() == (ROOT / "config/matwarden.example.toml").read_bytes()
    assert (image / "etc/matwarden/matwarden.schema.json").exists()
    assert (image / "etc/matwarden").stat().st_mode & 0o7777 == 0o755
    assert (image / "etc/matwarden/credentials").stat().st_mode & 0o7777 == 0o700
    assert (image / "usr/local/bin/matwarden").readlink() == Path("/opt/matwarden/bin/matwarden")
    assert not (image / "etc/matwarden/matwarden.toml").exists()  # the example's probes are nobody's


def test_a_second_time_changes_nothing(image: Path) -> None:
    """It can be carried out again and again: not even a time of change moves."""
    install(image)
    before = picture(image)
    ran = install(image)
    assert ran.code == Exit.OK
    assert picture(image) == before
    assert not any(word in ran.out for word in ("written", "renewed", "made", "kept"))


def test_a_dry_run_touches_nothing(image: Path) -> None:
    """It tells what would be done, and leaves the place empty."""
    ran = install(image, "--dry-run")
    assert ran.code == Exit.OK
    assert picture(image) == {}
    assert "it would be" in ran.out
    assert "/etc/systemd/system/matwarden.service" in ran.out


def test_a_file_the_keeper_changed_is_never_written_over(image: Path) -> None:
    """Ours is laid beside it as FILE.new, and that is said; both stay when it is done again."""
    install(image)
    (image / UNIT).write_text("[Service]\n# mine\n")
    for _ in range(2):
        ran = install(image)
        assert "it was changed here; ours is in /etc/systemd/system/matwarden.service.new" in " ".join(ran.out.split())
        assert (image / UNIT).read_text() == "[Service]\n# mine\n"
        assert (image / f"{UNIT}.new").read_bytes() == (ROOT / "systemd/matwarden.service").read_bytes()


def test_a_file_that_was_there_before_us_is_the_keepers(image: Path) -> None:
    """What nobody recorded as ours counts as changed."""
    (image / UNIT).parent.mkdir(parents=True)
    (image / UNIT).write_text("[Service]\n")
    install(image)
    assert (image / UNIT).read_text() == "[Service]\n"
    assert (image / f"{UNIT}.new").exists()


def test_an_older_file_of_ours_is_renewed(image: Path) -> None:
    """A unit for the program's old place, which nobody has touched, follows it to the new one."""
    install(image, "--program", "/opt/old/bin/matwarden")
    assert "ExecStart=/opt/old/bin/matwarden run" in (image / UNIT).read_text()
    ran = install(image)
    assert "renewed    /etc/systemd/system/matwarden.service" in ran.out
    assert "/opt/old" not in (image / UNIT).read_text()
    assert not (image / f"{UNIT}.new").exists()


def test_the_unit_names_the_program_where_it_is(image: Path) -> None:
    """Every path of the shipped place is replaced: start, cut after every end, documentation."""
    install(image, "--program", "/srv/warden/bin/matwarden")
    unit = (image / UNIT).read_text()
    assert "/opt/matwarden/" not in unit
    assert "ExecStopPost=/srv/warden/bin/matwarden cut" in unit


@pytest.mark.skipif(shutil.which("systemd-sysusers") is None, reason="systemd-sysusers is not installed")
def test_the_user_that_systemd_makes_of_it_may_use_the_lines(image: Path) -> None:
    """The real systemd-sysusers makes user and group of the file (sysusers.d(5)); twice is once."""
    install(image)
    for _ in range(2):
        done = subprocess.run(["systemd-sysusers", f"--root={image}"], capture_output=True, text=True, check=False)
        if "Permission denied" in done.stderr or "Operation not permitted" in done.stderr:
            pytest.skip("systemd-sysusers may not be used by this user")
        assert done.returncode == 0, done.stderr
    (user,) = [row for row in (image / "etc/passwd").read_text().splitlines() if row.startswith("matwarden:")]
    assert user.split(":")[5:] == ["/var/lib/matwarden", "/usr/sbin/nologin"]
    assert any(
        row.startswith("gpio:") and row.endswith(":matwarden") for row in (image / "etc/group").read_text().split()
    )


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not installed")
def test_the_record_of_what_was_laid_is_what_sha256sum_reads(image: Path) -> None:
    """`sha256sum --check` of coreutils agrees with it."""
    install(image)
    text = (image / "etc/matwarden/.laid").read_text().replace("  /", f"  {image}/")
    done = subprocess.run(["sha256sum", "--check", "--strict"], input=text, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
    assert done.stdout.count(": OK") == 4


def test_the_boot_lines_are_those_of_the_probes_in_the_settings(image: Path, tmp_path: Path) -> None:
    """1-wire, the kernel's DHT driver and an I2C chip each have theirs; they are printed, the file stays as it was."""
    boot = image / "boot/firmware/config.txt"
    boot.parent.mkdir(parents=True)
    boot.write_text("[pi4]\ndtoverlay=w1-gpio\n[all]\n dtparam=watchdog=on # mine\n")
    ran = install(image, "-s", settings_file(tmp_path, REAL))
    told = dict(line.strip().split(" # ") for line in ran.out.splitlines() if line.startswith("  dt"))
    told = {line.strip(): why for line, why in told.items()}
    assert set(told) == {
        "dtparam=strict_gpiod",
        "dtparam=watchdog=on",
        "dtoverlay=w1-gpio,gpiopin=4",
        "dtoverlay=dht11,gpiopin=N",
        "dtparam=i2c_arm=on",
        "dtoverlay=i2c-sensor,sht4x",
    }
    assert told["dtparam=watchdog=on"] == "there already"
    assert told["dtoverlay=w1-gpio,gpiopin=4"] != "there already"  # only for another model
    assert boot.read_text() == "[pi4]\ndtoverlay=w1-gpio\n[all]\n dtparam=watchdog=on # mine\n"


@pytest.mark.parametrize(
    ("config", "there"),
    [
        ("dtoverlay=w1-gpio", True),
        ("dtoverlay=w1-gpio,gpiopin=17", True),
        ("#dtoverlay=w1-gpio", False),
        ("[pi5]\ndtoverlay=w1-gpio", False),
        ("[pi5]\n[all]\ndtoverlay=w1-gpio", True),
        ("dtoverlay=w1-gpio-pullup", False),
    ],
)
def test_a_boot_line_counts_where_every_model_reads_it(config: str, there: bool) -> None:
    """Filters and comments as Raspberry Pi's documentation of config.txt describes them (from memory)."""
    assert already_there("dtoverlay=w1-gpio,gpiopin=4", config) is there


@pytest.mark.parametrize(
    "program",
    [
        "/home/rowan/venv/bin/matwarden",
        "/root/bin/matwarden",
        "/tmp/v/bin/matwarden",
        "bin/matwarden",
        "/a b/bin/matwarden",
    ],
)
def test_a_program_that_the_unit_could_not_start_is_refused(image: Path, program: str) -> None:
    """ProtectHome= and PrivateTmp= hide it (systemd.exec(5)), or a unit file cannot name it; nothing is laid."""
    ran = install(image, "--program", program)
    assert ran.code == Exit.REFUSED
    assert program in " ".join(ran.err.split())
    assert picture(image) == {}


def test_a_python_or_library_that_the_unit_would_not_see_is_refused() -> None:
    """A good path is not enough where the environment's Python, or an editable library, lives in a home."""
    program = PurePosixPath("/opt/matwarden/bin/matwarden")
    assert unusable_program(program, [PurePosixPath("/usr/bin/python3.11")]) == ""
    assert "/home/oak/clone/install.py" in unusable_program(program, [PurePosixPath("/home/oak/clone/install.py")])


def test_without_root_it_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    """On the machine itself only root may; nothing is begun."""
    asked = argparse.Namespace(
        root=None, dry_run=False, program=PurePosixPath("/opt/matwarden/bin/matwarden"), settings=None
    )
    assert carry_out(asked, is_root=False, run=lambda command: pytest.fail("it ran something")) == Exit.REFUSED
    assert "only root can do this: put sudo before it" in " ".join(capsys.readouterr().err.split())


def test_a_secrets_directory_that_others_may_enter_is_told(image: Path) -> None:
    """The keeper's own mode stays, with the command that closes it."""
    place = image / "etc/matwarden/credentials"
    place.mkdir(parents=True)
    place.chmod(0o755)
    ran = install(image)
    assert "do: chmod 700 /etc/matwarden/credentials" in " ".join(ran.out.split())
    assert place.stat().st_mode & 0o777 == 0o755


def test_a_link_that_leads_out_of_the_root_is_not_followed(image: Path, tmp_path: Path) -> None:
    """An image whose /etc is an absolute link must not make us write into the machine that holds it."""
    outside = tmp_path / "outside"
    outside.mkdir()
    (image / "etc").symlink_to(outside)
    ran = install(image)
    assert ran.code == Exit.STORE
    assert "leads out of" in ran.err
    assert picture(outside) == {}


def test_another_command_of_the_same_name_stays(image: Path) -> None:
    """A matwarden that is in /usr/local/bin already is left, and the whole path is told."""
    other = image / "usr/local/bin/matwarden"
    other.parent.mkdir(parents=True)
    other.write_text("#!/bin/sh\n")
    ran = install(image)
    assert "type /opt/matwarden/bin/matwarden instead" in " ".join(ran.out.split())
    assert other.read_text() == "#!/bin/sh\n"
