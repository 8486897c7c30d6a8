"""Nothing is shared until sign-in and TLS are set up, and what is missing is said."""

import pytest
from typer.testing import CliRunner

from dyebook.errors import DyebookError
from dyebook.server.doors import NEEDED, plan_sharing
from dyebook.server.gate import may_upload
from dyebook.server.pairing import admit, send_away
from dyebook.shell.main import app

OWNERS = {"mara@shop.example": "owner"}
SETUP = {
    "DYEBOOK_SHARE_ADDRESS": "https://Book.shop.example:8640/",
    "DYEBOOK_SIGN_IN_URL": "https://who.example/.well-known/openid-configuration",
    "DYEBOOK_SIGN_IN_ID": "dyebook",
    "DYEBOOK_SIGN_IN_SECRET": "of the client",
}


@pytest.fixture
def setup(tmp_path):
    for name in ("cert.pem", "key.pem"):
        (tmp_path / name).write_text("a file")
    files = {"DYEBOOK_SHARE_CERTIFICATE": "cert.pem", "DYEBOOK_SHARE_KEY": "key.pem"}
    return {**SETUP, **{name: str(tmp_path / file) for name, file in files.items()}}


def test_a_whole_set_up_shares(setup):
    plan = plan_sharing(setup, "192.168.1.5", OWNERS)
    assert plan.origin == "https://book.shop.example:8640"
    assert plan.secrets["auth"]["redirect_uri"] == "https://book.shop.example:8640/oauth2callback"
    assert len(plan.secrets["auth"]["cookie_secret"]) >= 32
    assert set(plan.tls) == {"ssl_certfile", "ssl_keyfile"}
    assert plan.secrets["auth"] != plan_sharing(setup, "192.168.1.5", OWNERS).secrets["auth"]


@pytest.mark.parametrize("name", [*NEEDED, "DYEBOOK_SHARE_CERTIFICATE", "DYEBOOK_SHARE_KEY"])
@pytest.mark.parametrize("value", [None, "", "  "])
def test_each_missing_piece_is_named(setup, name, value):
    setup = {**setup, name: value} if value is not None else {key: one for key, one in setup.items() if key != name}
    with pytest.raises(DyebookError, match=f"sharing needs sign-in.*{name} \\("):
        plan_sharing(setup, "192.168.1.5", OWNERS)


def test_libraries_and_an_owner_are_needed(setup):
    with pytest.raises(DyebookError, match=r"pip install"):
        plan_sharing(setup, "192.168.1.5", OWNERS, has_library=False)
    for people in ({}, {"mara@shop.example": "maker"}):
        with pytest.raises(DyebookError, match="people set"):
            plan_sharing(setup, "192.168.1.5", people)


@pytest.mark.parametrize("name", ["DYEBOOK_SHARE_ADDRESS", "DYEBOOK_SIGN_IN_URL"])
@pytest.mark.parametrize(
    "value", ["http://book.shop.example", "book.shop.example", "ftp://x", "https://", "https://[x"]
)
def test_nobody_signs_in_without_tls(setup, name, value):
    with pytest.raises(DyebookError, match="https"):
        plan_sharing({**setup, name: value}, "192.168.1.5", OWNERS)


def test_plain_http_never_leaves_this_machine(setup):
    setup["DYEBOOK_SHARE_ADDRESS"] = "http://127.0.0.2:8640"
    with pytest.raises(DyebookError, match="without TLS"):
        plan_sharing(setup, "192.168.1.5", OWNERS)
    assert plan_sharing(setup, "127.0.0.2", OWNERS).tls == {}


def test_a_short_secret_and_a_lost_certificate_are_refused(setup):
    with pytest.raises(DyebookError, match="32 random"):
        plan_sharing({**setup, "DYEBOOK_COOKIE_SECRET": "short"}, "192.168.1.5", OWNERS)
    with pytest.raises(DyebookError, match="no such file"):
        plan_sharing({**setup, "DYEBOOK_SHARE_KEY": "lost.pem"}, "192.168.1.5", OWNERS)


def test_no_secret_is_told_in_an_error(setup):
    with pytest.raises(DyebookError) as answer:
        plan_sharing({**setup, "DYEBOOK_SIGN_IN_ID": ""}, "192.168.1.5", {})
    assert setup["DYEBOOK_SIGN_IN_SECRET"] not in str(answer.value)


def test_the_command_refuses_and_says_what_to_set_up(tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "shop.dyebook"))
    for name in (*NEEDED, "DYEBOOK_SHARE_CERTIFICATE", "DYEBOOK_SHARE_KEY"):
        monkeypatch.delenv(name, raising=False)
    answer = CliRunner().invoke(app, ["open", "--share", "--at", "192.168.1.5", "--no-browser"])
    assert isinstance(answer.exception, DyebookError)
    assert "DYEBOOK_SIGN_IN_URL" in str(answer.exception)
    assert CliRunner().invoke(app, ["open", "--share", "--phone"]).exit_code == 2


def test_files_come_only_from_sessions_that_were_let_in():
    path = "/_stcore/upload_file/of-mara/1"
    assert may_upload("/book")
    assert not may_upload(path)
    admit("of-mara")
    assert may_upload(path)
    for other in (
        "/_stcore/upload_file/of-somebody/1",
        "/_stcore/upload_file//of-mara/1",
        "//_stcore/upload_file/of-mara/1",
    ):
        assert not may_upload(other)
    send_away("of-mara")
    assert not may_upload(path)
