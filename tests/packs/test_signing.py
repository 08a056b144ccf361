"""Signed packs, held against independent tools: pdfsig (poppler) and openssl cms."""

import json
import re
import shutil
import subprocess
from pathlib import Path

import duckdb
import pytest

from qa.jobs.packs import make_packs
from qa.jobs.verify_file import byte_problems, check_signature, read_pack_file
from qa.model.delivery import Signing
from qa.model.errors import PackError
from qa.stores.pack_archive import list_issues
from qa.stores.signing import load_signer
from tests.packs.conftest import MONTH
from tests.packs.light import draw_light

PASSWORD = "invented-key-password"


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A key with its certificate, made by OpenSSL, and one of somebody else."""
    folder = tmp_path_factory.mktemp("keys")
    for name in ("own", "other"):
        subject = f"/O=Invented network/CN={name} quality office"
        usage = ["-addext", "keyUsage=critical,digitalSignature,nonRepudiation,keyCertSign"]
        how = ["-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", subject, *usage]
        openssl(folder, "req", *how, "-keyout", f"{name}.key", "-out", f"{name}.pem")
        files = ["-inkey", f"{name}.key", "-in", f"{name}.pem", "-out", f"{name}.p12"]
        openssl(folder, "pkcs12", "-export", *files, "-passout", f"pass:{PASSWORD}")
    return folder


def openssl(folder: Path, *what: str) -> None:
    subprocess.run(["openssl", *what], cwd=folder, check=True, capture_output=True)


@pytest.fixture
def signed(network_folder: Path, keys: Path) -> Path:
    set_signing(network_folder, key_file=str(keys / "own.p12"))
    environ = {"ELASTOQA_SIGNING_PASSWORD": PASSWORD}
    make_packs(network_folder, month=MONTH, site_id="S3", render=draw_light, environ=environ)
    return list_issues(network_folder, month=MONTH, site_id="S3")[0].pdf_path


def set_signing(folder: Path, **settings: str) -> None:
    """In the snapshot in force too, which says how its packs are signed."""
    text = (folder / "network.toml").read_text()
    lines = [f'{key} = "{value}"' for key, value in settings.items()]
    (folder / "network.toml").write_text("\n".join([text, "[signing]", *lines, ""]))
    (path,) = (folder / "snapshots").glob("S*.duckdb")
    with duckdb.connect(str(path)) as connection:
        new = (folder / "network.toml").read_text()
        connection.execute("update meta set value = ? where key = 'network_text'", [new])


def check(path: Path, trust_file: Path | None = None) -> tuple[list[str], str]:
    file = read_pack_file(path)
    problems, said = check_signature(file, trust_file=trust_file)
    return [*byte_problems(file), *problems], said


def test_pdfsig_finds_the_signature_whole(signed: Path) -> None:
    if shutil.which("pdfsig") is None:
        pytest.skip("no pdfsig here (Debian's package poppler-utils)")
    done = subprocess.run(["pdfsig", "-nocert", str(signed)], capture_output=True, text=True)
    assert "Signature Validation: Signature is Valid." in done.stdout
    assert "Signer Certificate Common Name: own quality office" in done.stdout
    assert "Total document signed" in done.stdout


def test_openssl_verifies_the_signature_over_the_bytes_it_names(
    signed: Path, keys: Path, tmp_path: Path
) -> None:
    pdf = signed.read_bytes()
    found = re.search(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)", pdf)
    assert found is not None
    start, n_before, after, n_after = (int(one) for one in found.groups())
    assert (start, after + n_after) == (0, len(pdf))
    (tmp_path / "content").write_bytes(pdf[:n_before] + pdf[after:])
    hexadecimal = pdf[n_before:after].strip(b"<>").decode()
    (tmp_path / "signature.der").write_bytes(bytes.fromhex(hexadecimal))
    what = ["-verify", "-binary", "-inform", "DER", "-in", "signature.der", "-content", "content"]
    openssl(tmp_path, "cms", *what, "-CAfile", str(keys / "own.pem"), "-purpose", "any")
    with pytest.raises(subprocess.CalledProcessError):
        openssl(tmp_path, "cms", *what, "-CAfile", str(keys / "other.pem"), "-purpose", "any")


def test_the_packs_own_bytes_stay_in_front(signed: Path, network_folder: Path) -> None:
    """So the unsigned bytes are the same for equal input, whenever it is signed."""
    manifest = json.loads(signed.with_suffix(".json").read_text())
    file = read_pack_file(signed)
    assert file.pdf.startswith(file.made)
    assert len(file.made) == manifest["pdf_bytes"] < len(file.pdf)
    assert manifest["signature"]["subject"].startswith("Common Name: own quality office")
    environ = {"ELASTOQA_SIGNING_PASSWORD": PASSWORD}
    again = make_packs(
        network_folder, month=MONTH, site_id="S3", render=draw_light, environ=environ
    )
    assert again.made == ()


def test_verify_says_who_signed_and_who_vouches(signed: Path, keys: Path) -> None:
    problems, said = check(signed)
    assert problems == []
    assert said.startswith("Signed by Common Name: own quality office")
    assert said.endswith("nobody was asked to vouch for it.")
    assert check(signed, keys / "own.pem")[1].endswith("trust_file vouches for it.")
    problems, _ = check(signed, keys / "other.pem")
    assert problems == [
        "the certificates of trust_file do not vouch for Common Name: own quality office, "
        "Organization: Invented network"
    ]


@pytest.mark.parametrize(
    ("place", "says"),
    [
        (-4_000, "the file's bytes were changed"),
        (60, "the file's bytes were changed"),
        (-1500, "the file's bytes were changed"),
        ("end", "something was added to the file after it was signed"),
        ("cut", "is missing or cannot be read"),
    ],
)
def test_one_byte_changed_anywhere_is_found(signed: Path, place: int | str, says: str) -> None:
    pdf = bytearray(signed.read_bytes())
    made = len(read_pack_file(signed).made)
    if place == "end":
        pdf += b"\n% more\n"
    elif place == "cut":
        del pdf[made:]
    else:
        pdf[int(place)] ^= 1
    signed.chmod(0o644)
    signed.write_bytes(bytes(pdf))
    problems, _ = check(signed)
    assert any(says in one for one in problems), problems


def test_a_pack_signed_by_somebody_else_is_found(signed: Path, keys: Path) -> None:
    settings = Signing(key_file=str(keys / "other.p12"))
    other = load_signer(keys, settings, environ={"ELASTOQA_SIGNING_PASSWORD": PASSWORD})
    assert other is not None
    signed.chmod(0o644)
    signed.write_bytes(other.sign(read_pack_file(signed).made, reason="invented"))
    problems, _ = check(signed)
    assert problems[1].startswith("the file is signed by Common Name: other quality office")


@pytest.mark.parametrize(
    ("key_file", "password", "code"),
    [
        ("own.p12", "wrong", "PCK-040"),
        ("none.p12", PASSWORD, "PCK-040"),
        ("own.p12", "", "PCK-040"),
    ],
)
def test_a_key_that_does_not_open_makes_no_pack(
    network_folder: Path, keys: Path, key_file: str, password: str, code: str
) -> None:
    set_signing(network_folder, key_file=str(keys / key_file))
    with pytest.raises(PackError, match=code) as caught:
        make_packs(
            network_folder,
            month=MONTH,
            site_id="S3",
            render=draw_light,
            environ={"ELASTOQA_SIGNING_PASSWORD": password},
        )
    assert not (network_folder / "packs").exists()
    assert password == "" or password not in str(caught.value)
