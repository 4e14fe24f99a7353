import os

import pytest

from digitize import files
from digitize.errors import WriteError
from digitize.files import safe_name, write_files, written_by_digitize
from digitize.seal import BLANK, is_sealed, seal

OURS = seal(f"<!-- {BLANK} --> outline".encode())


def names(folder):
    return sorted(os.listdir(folder))


def test_seal_keeps_the_length_and_breaks_with_any_changed_byte():
    assert len(OURS) == len(f"<!-- {BLANK} --> outline")
    assert is_sealed(OURS)
    for place in range(len(OURS)):
        changed = bytearray(OURS)
        changed[place] ^= 1
        assert not is_sealed(bytes(changed)), place


def test_seal_fills_the_first_mark_even_if_a_name_looks_like_one():
    assert is_sealed(seal(f"{BLANK} item {BLANK}".encode()))


def test_seal_refuses_bytes_without_a_mark():
    with pytest.raises(ValueError, match="blank mark"):
        seal(b"nothing")


def test_unmarked_bytes_are_nobodys():
    assert not is_sealed(b"")
    assert not is_sealed(BLANK.encode())
    assert not is_sealed(b"\x89PNG\r\n\x1a\n" + BLANK.encode())


def test_writes_all_into_a_new_folder(tmp_path):
    paths = write_files(tmp_path / "new" / "out", {"a.json": OURS, "b.svg": b"plain"})
    assert [p.name for p in paths] == ["a.json", "b.svg"]
    assert paths[0].read_bytes() == OURS
    assert paths[1].read_bytes() == b"plain"
    assert names(tmp_path / "new" / "out") == ["a.json", "b.svg"]


def test_overwrites_its_own_file_unasked(tmp_path):
    write_files(tmp_path, {"a.json": OURS})
    newer = seal(f"{BLANK} newer".encode())
    write_files(tmp_path, {"a.json": newer})
    assert (tmp_path / "a.json").read_bytes() == newer


@pytest.mark.parametrize("content", [b"mine", OURS + b" with my artwork", b""])
def test_refuses_a_foreign_or_edited_file_and_then_writes_nothing_at_all(tmp_path, content):
    (tmp_path / "b.svg").write_bytes(content)
    with pytest.raises(WriteError, match=r"b\.svg was (not written by digitize|edited since).*--force"):
        write_files(tmp_path, {"a.json": OURS, "b.svg": OURS})
    assert names(tmp_path) == ["b.svg"]
    assert (tmp_path / "b.svg").read_bytes() == content


def test_force_replaces_a_foreign_file(tmp_path):
    (tmp_path / "a.json").write_bytes(b"mine")
    write_files(tmp_path, {"a.json": OURS}, force=True)
    assert written_by_digitize(tmp_path / "a.json")


def test_what_is_to_be_kept_stays_even_with_force_and_a_mark(tmp_path):
    import hashlib

    write_files(tmp_path, {"a.json": OURS})
    with pytest.raises(WriteError, match="picture itself"):
        write_files(
            tmp_path, {"b.svg": b"plain", "a.json": b"new"}, force=True, keep={hashlib.sha256(OURS).hexdigest()}
        )
    assert (tmp_path / "a.json").read_bytes() == OURS
    assert not (tmp_path / "b.svg").exists()


@pytest.mark.parametrize("address", [False, True])
def test_a_batch_keeps_its_pictures_too(tmp_path, address):
    import hashlib

    from digitize.batch import store

    pytest.importorskip("fsspec")
    folder = f"memory://{tmp_path.name}" if address else str(tmp_path)
    store.write(folder, {"scan.pdf": b"a picture"})
    with pytest.raises(WriteError, match="picture itself"):
        store.write(folder, {"scan.pdf": b"new"}, force=True, keep=hashlib.sha256(b"a picture").hexdigest())
    store.write(folder, {"scan.pdf": b"new"}, force=True, keep=hashlib.sha256(b"another").hexdigest())


def test_a_foreign_file_with_the_very_same_content_is_no_obstacle(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"same")
    write_files(tmp_path, {"a.csv": b"same"})
    assert (tmp_path / "a.csv").read_bytes() == b"same"


def test_a_link_is_not_followed(tmp_path):
    foreign = tmp_path / "precious"
    foreign.write_bytes(OURS)
    out = tmp_path / "out"
    out.mkdir()
    (out / "a.json").symlink_to(foreign)
    newer = seal(f"{BLANK} newer".encode())
    with pytest.raises(WriteError, match=r"a\.json is a link"):
        write_files(out, {"a.json": newer})
    write_files(out, {"a.json": newer}, force=True)
    assert foreign.read_bytes() == OURS
    assert not (out / "a.json").is_symlink()


def test_a_folder_in_the_place_of_a_file_is_refused_even_with_force(tmp_path):
    (tmp_path / "a.json").mkdir()
    with pytest.raises(WriteError, match=r"a\.json is a folder"):
        write_files(tmp_path, {"a.json": OURS}, force=True)


def test_folder_that_is_a_file(tmp_path):
    (tmp_path / "out").write_bytes(b"mine")
    for folder in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(WriteError, match="a file is in the way"):
            write_files(folder, {"a.json": OURS})
    assert (tmp_path / "out").read_bytes() == b"mine"


def test_too_long_a_name_keeps_its_ending_and_stays_one_of_its_own(tmp_path):
    # NAME_MAX of the common file systems is 255 bytes (POSIX <limits.h>, pathconf).
    long = [letter + end for letter in ("n" * 300, "n" * 299 + "m", "\u00fc" * 160) for end in (".svg", ".check.png")]
    written = write_files(tmp_path / "out", dict.fromkeys(long, OURS))
    assert len(names(tmp_path / "out")) == len(long)
    assert [path.name.endswith(".check.png") for path in written] == [False, True] * 3
    assert [path.name.removesuffix(".svg").removesuffix(".check.png")[:90] for path in written] == [
        n[:90] for n in long
    ]


def test_too_long_a_path_is_a_sentence_and_leaves_nothing(tmp_path):
    with pytest.raises(WriteError, match="name too long"):
        write_files(tmp_path / ("n" * 300), {"a.json": OURS})
    assert names(tmp_path) == []


def test_read_only_folder(tmp_path, monkeypatch):
    tmp_path.chmod(0o500)
    if os.geteuid() == 0:  # root may write anywhere: the refusal is played

        def refuse(path, mode):
            raise PermissionError(13, "Permission denied", str(path))

        monkeypatch.setattr(files, "open", refuse, raising=False)
    with pytest.raises(WriteError, match=r"Permission denied.*change the folder's permissions") as caught:
        write_files(tmp_path, {"a.json": OURS})
    assert "room" not in str(caught.value)
    tmp_path.chmod(0o700)
    assert names(tmp_path) == []


@pytest.mark.skipif(not os.path.exists("/proc/self"), reason="Linux: nobody may write into /proc")
def test_a_place_where_the_system_allows_no_file():
    with pytest.raises(WriteError, match="cannot write into /proc/"):
        write_files(files.Path("/proc/self"), {"a.json": OURS})


@pytest.mark.parametrize("which", ["write", "fsync", "replace"])
def test_a_full_disk_leaves_no_half_and_no_temporary_file(tmp_path, monkeypatch, which):
    write_files(tmp_path / "out", {"b.svg": OURS})
    calls = []

    def full(*arguments):
        calls.append(arguments)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")
        return real(*arguments)

    place, name = {"write": (files, "_write_new"), "fsync": (os, "fsync"), "replace": (os, "replace")}[which]
    real = getattr(place, name)
    monkeypatch.setattr(place, name, full)
    newer = seal(f"{BLANK} newer".encode())
    with pytest.raises(WriteError, match=r"No space left on device.*free some room"):
        write_files(tmp_path / "out", {"a.json": newer, "b.svg": newer})
    left = names(tmp_path / "out")
    assert left == (["a.json", "b.svg"] if which == "replace" else ["b.svg"])
    assert (tmp_path / "out" / "b.svg").read_bytes() == OURS
    for name in left:
        assert is_sealed((tmp_path / "out" / name).read_bytes())


def test_a_new_folder_goes_again_if_nothing_could_be_written(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "_write_new", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(WriteError):
        write_files(tmp_path / "deep" / "out", {"a.json": OURS})
    assert names(tmp_path) == []


def test_what_a_killed_run_left_does_not_hinder(tmp_path):
    (tmp_path / f".digitize-{os.getpid()}-0.part").write_bytes(b"half")
    write_files(tmp_path, {"a.json": OURS})
    assert names(tmp_path) == ["a.json"]


def test_names_that_fall_together_are_refused(tmp_path):
    with pytest.raises(WriteError, match="would be the same file"):
        write_files(tmp_path, {"Tag.svg": OURS, "tag.svg": OURS})
    with pytest.raises(WriteError, match="would be the same file"):  # the same text put in two ways (Unicode, annex 15)
        write_files(tmp_path, {"\u00c9.svg": OURS, "e\u0301.svg": OURS})
    assert names(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("tag.svg", "tag.svg"),
        ("../../etc/passwd", "_.._etc_passwd"),
        ("a/b\\c.svg", "a_b_c.svg"),
        ("..", "outline"),
        ("", "outline"),
        (".hidden", "hidden"),
        ("-rf.svg", "rf.svg"),
        ("tag\n\x00.svg", "tag__.svg"),
        ("tag \udcff.svg", "tag _.svg"),
        ("Schlu\u0308ssel.svg", "Schlüssel.svg"),
        ("what?.svg ", "what_.svg"),
        # Reserved device names: Microsoft, "Naming Files, Paths, and Namespaces".
        ("con.svg", "_con.svg"),
        ("LPT1", "_LPT1"),
        ("console.svg", "console.svg"),
    ],
)
def test_safe_name(name, safe):
    assert safe_name(name) == safe
    assert safe_name(safe) == safe
