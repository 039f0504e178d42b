"""An entity tag means the same compressed and not, through every layer that a request passes."""

import gzip

from tests.live.conftest import Live, token_of


def test_a_tag_read_compressed_is_strong_and_lets_its_holder_change_the_row_once(live: Live) -> None:
    manager = Live(live.port, live.environment, token_of(live.environment, "demo-manager"))
    path = f"vehicles/{manager.first('vehicles/')['id']}/"
    packed, plain = (manager.ask("GET", path, Accept_Encoding=coding) for coding in ("gzip", "identity"))
    assert packed.headers["Content-Encoding"] == "gzip"
    assert (plain.headers["Content-Encoding"], gzip.decompress(packed.body)) == (None, plain.body)
    tags = [answer.headers["ETag"] for answer in (packed, plain)]
    assert not any(tag.startswith("W/") for tag in tags)
    assert len(set(tags)) == 2, "two sequences of bytes, two strong tags"
    for tag in tags:
        assert manager.ask("GET", path, Accept_Encoding="gzip", If_None_Match=tag).status == 304
    note = {"operator": "read compressed"}
    changed = manager.ask("PATCH", path, note, If_Match=tags[0])
    assert changed.status == 200, changed.body
    assert [manager.ask("PATCH", path, note, If_Match=tag).status for tag in tags] == [412, 412]
    assert manager.ask("PATCH", path, note).status == 428
