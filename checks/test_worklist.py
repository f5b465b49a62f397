"""Orders from two real worklist servers that share no code with us: dcmtk 3.6.7's `wlmscpfs` and pynetdicom 3.0.4.

Source: DICOM PS3.4 annex K (Modality Worklist), PS3.7 §9.1.2 (C-FIND). The bad ones are slow, empty, gone in the middle,
and endless.
"""

from __future__ import annotations

import json
import time
import urllib.error

import pytest

from house import Server, free_port, http_error, serrata
from worklists import entry, pynetdicom_worklist, wlmscpfs

DAY = "2026-03-02"


def three() -> list:
    """Three orders of a day."""
    return [
        entry("A-1", "INV-1", "Alderwick^Juna", "19610307", "first-look", DAY, "0900"),
        entry("A-2", "INV-2", "Brämbly^Tove", "19481119", "macular-faf", DAY, "0930"),
        entry("A-3", "INV-3", "Cindermoor^Pell", "19900214", "fa", DAY, "1000"),
    ]


def served(tmp_path, port: int) -> Server:
    """A server that asks the worklist at a port."""
    return Server(tmp_path / "data", tmp_path / "in", tmp_path / "log", "--worklist", f"127.0.0.1:{port}").start()


def post(house: Server, path: str, **body) -> dict:
    """Tells the API something."""
    return house.post(path, json.dumps(body).encode())


@pytest.mark.parametrize("peer", ["wlmscpfs", "pynetdicom"])
def test_the_orders_of_a_day_are_offered_and_taken(tmp_path, peer):
    other_day = entry("A-9", "INV-9", "Elmbrook^Saxo", "19551203", "first-look", "2026-03-03")
    everyone = [*three(), other_day]
    server = wlmscpfs(tmp_path / "wl", everyone) if peer == "wlmscpfs" else pynetdicom_worklist(three())
    with server as port:
        house = served(tmp_path, port)
        try:
            offered = house.get(f"/api/v1/worklist?day={DAY}")
            assert [(o["number"], o["patient_name"], o["birth_date"], o["protocol"]) for o in sorted(offered["good"], key=lambda o: o["number"])] == [
                ("A-1", "Alderwick Juna", "07 Mar 1961", "first-look"),
                ("A-2", "Brämbly Tove", "19 Nov 1948", "macular-faf"),
                ("A-3", "Cindermoor Pell", "14 Feb 1990", "fa"),
            ]  # fmt: skip
            assert house.get("/api/v1/day")["visits"] == [], "looking takes nothing"
            # The transit eye of a dye run is asked of the clinician.
            questions = {o["number"]: o["question"] for o in offered["good"]}
            assert questions["A-1"] is None and "transit eye" in questions["A-3"]
            taken = post(house, "/api/v1/worklist", who="RK", day=DAY)
            assert sorted(taken["became"]) == ["opened"] * 3
            again = post(house, "/api/v1/worklist", who="RK", day=DAY)
            assert sorted(again["became"]) == ["known"] * 3, "the same list twice changes nothing"
            assert len(house.get("/api/v1/day")["visits"]) == 3
        finally:
            assert house.stop() == 0


def test_an_empty_worklist_is_an_answer(tmp_path):
    with wlmscpfs(tmp_path / "wl", []) as port:
        house = served(tmp_path, port)
        done = serrata("order", "--server", f"127.0.0.1:{house.port}", "worklist", "--day", DAY)
        assert house.stop() == 0
    assert (done.code, done.out) == (0, "The list is empty.\n")


def test_a_worklist_that_is_gone_is_told_in_a_sentence_with_what_to_do(tmp_path):
    house = served(tmp_path, free_port())
    error = http_error(lambda: house.get(f"/api/v1/worklist?day={DAY}"))
    assert error["code"] == "worklist_no_answer" and "provisional" in error["remedy"]
    assert house.stop() == 0


def test_a_worklist_that_breaks_off_gives_what_came_and_says_that_it_may_be_short(tmp_path):
    with pynetdicom_worklist(three(), break_after=2) as port:
        house = served(tmp_path, port)
        offered = house.get(f"/api/v1/worklist?day={DAY}")
        assert len(offered["good"]) == 2 and "may be short" in offered["cut_short"]
        assert house.stop() == 0


def test_a_silent_worklist_is_given_up(tmp_path):
    with pynetdicom_worklist(three(), before=12) as port:
        house = served(tmp_path, port)
        start = time.monotonic()
        error = http_error(lambda: house.get(f"/api/v1/worklist?day={DAY}"))
        assert error["code"] == "worklist_too_slow" and time.monotonic() - start < 20
        assert house.healthy() and house.stop() == 0


def test_a_worklist_that_cannot_search_is_told_with_its_status(tmp_path):
    with pynetdicom_worklist([], fail=0xA700) as port:
        house = served(tmp_path, port)
        error = http_error(lambda: house.get(f"/api/v1/worklist?day={DAY}"))
        assert error["code"] == "worklist_failed" and "A700" in error["message"]
        assert house.stop() == 0


def test_ten_thousand_entries_are_cut_short_and_said_so(tmp_path):
    many = [three()[0]] * 10_000
    with pynetdicom_worklist(many) as port:
        house = served(tmp_path, port)
        done = serrata("order", "--server", f"127.0.0.1:{house.port}", "--json", "worklist", "--day", DAY)
        (offered,) = done.lines
        # On a slow machine the peer may be given up before a thousand came: either way it is said.
        assert done.code == 0 and 0 < len(offered["good"]) <= 1000, done.err
        assert "1000" in offered["cut_short"] or "may be short" in offered["cut_short"]
        assert house.healthy() and house.stop() == 0


def test_orders_that_contradict_each_other_are_not_taken(tmp_path):
    twice = [three()[0], entry("A-1", "INV-1", "Alderwick^Juna", "19610307", "macular-faf", DAY, "0900")]
    with pynetdicom_worklist([*twice, three()[1]]) as port:
        house = served(tmp_path, port)
        taken = post(house, "/api/v1/worklist", who="RK", day=DAY)
        assert [o["number"] for o in taken["good"]] == ["A-2"]
        (bad,) = taken["bad"]
        assert bad["what"] == "A-1" and "twice" in bad["reasons"][0]
        assert house.stop() == 0


def test_a_known_number_of_another_patient_and_a_changed_birth_date_are_refused(tmp_path):
    with pynetdicom_worklist([three()[0]]) as port:
        house = served(tmp_path, port)
        post(house, "/api/v1/worklist", who="RK", day=DAY)
        assert house.stop() == 0
    other = [
        entry("A-1", "INV-7", "Fennick^Ora", "19700101", "first-look", DAY),
        entry("A-8", "INV-1", "Alderwick^Juna", "19610703", "first-look", DAY),
    ]
    with pynetdicom_worklist(other) as port:
        house = served(tmp_path, port)
        taken = post(house, "/api/v1/worklist", who="RK", day=DAY)
        assert taken["good"] == []
        reasons = {b["what"]: b["reasons"][0] for b in taken["bad"]}
        assert "another patient" in reasons["A-1"] and "date of birth" in reasons["A-8"]
        assert house.stop() == 0


def test_a_cancelled_order_asks_for_nothing_any_more(tmp_path):
    first = three()[0]
    with pynetdicom_worklist([first]) as port:
        house = served(tmp_path, port)
        visit = post(house, "/api/v1/worklist", who="RK", day=DAY)["good"][0]["visit_id"]
        assert len(house.get(f"/api/v1/visits/{visit}")["views"]) > 0
        assert house.stop() == 0
    first.ScheduledProcedureStepSequence[0].ScheduledProcedureStepStatus = "DISCONTINUED"
    with pynetdicom_worklist([first, entry("A-5", "INV-5", "X^Y", "19700101", "first-look", DAY, status="CANCELED")]) as port:
        house = served(tmp_path, port)
        taken = post(house, "/api/v1/worklist", who="RK", day=DAY)
        assert sorted(taken["became"]) == ["cancelled", "nothing_due"]
        assert house.get(f"/api/v1/visits/{visit}")["views"] == []
        assert len(house.get("/api/v1/day")["visits"]) == 1
        assert house.stop() == 0


def test_a_table_with_bad_rows_names_them_all_and_offers_the_good_ones(server):
    table = (
        "\ufeffnumber;patient_id;family;given;born;protocol\r\n"
        "T-1;INV-1;Alderwick;Juna;1961-03-07;first-look\r\n"
        "T-2;INV-2;Brämbly;Tove;19/11/1948;first-look\r\n"
        "T-3;INV-3;Cindermoor;Pell;1990-02-14;no-such\r\n"
        "T-4;INV-4;Dovetail;Wren;1975-06-30;macular-faf\r\n"
    )
    offered = server.post("/api/v1/orders/table", table.encode(), "text/csv")
    assert [o["number"] for o in offered["good"]] == ["T-1", "T-4"], offered
    assert [b["what"] for b in offered["bad"]] == ["line 3", "line 4"]
    assert server.get("/api/v1/day")["visits"] == []
    taken = server.post("/api/v1/orders/table?take=RK", table.encode(), "text/csv")
    assert taken["became"] == ["opened", "opened"]


def test_a_table_that_is_none_is_refused_in_a_sentence(server):
    with pytest.raises(urllib.error.HTTPError):
        server.post("/api/v1/orders/table", b"\x00\x01\x02", "text/csv")
