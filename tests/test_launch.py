"""One line opens the workbook on any machine: started for real, the printed address fetched."""

import json
import os
import queue
import re
import signal
import socket
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from pathlib import Path
from types import SimpleNamespace

import pytest
from jupyter_server.services.kernels.connection.base import serialize_msg_to_ws_v1
from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
from jupyter_server.services.kernels.websocket import KernelWebsocketHandler

from gymtools.command_line import entry, on_site
from gymtools.command_line.entry import main
from gymtools.display import launch
from gymtools.display.kernel_connection import KernelConnection

AGREED = "v1.kernel.websocket.jupyter.org"
ROOT = Path(__file__).resolve().parent.parent
ADDRESS = re.compile(r"http://127\.0\.0\.1:(\d+)/lab/tree/(\S+)\?token=(\w+)")


def printed(process, wanted):
    """The first match in what a process prints; fails with all it printed when it ends before."""
    lines = queue.Queue()

    def read():
        for line in process.stdout:
            lines.put(line)
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    seen = ""
    while (line := lines.get(timeout=launch.STARTS_WITHIN)) is not None:
        seen += line
        if match := wanted.search(line):
            return match
    raise AssertionError(f"no address: {seen}")


def fetched(address):
    """Status and text of an address."""
    try:
        with urllib.request.urlopen(address, timeout=30) as answer:
            return answer.status, answer.read().decode("utf-8")
    except urllib.error.HTTPError as error:
        return error.code, ""


@pytest.fixture(scope="module")
def opened():
    """The command as the README has it, without a screen; whoever runs it, root too."""
    bare = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    process = subprocess.Popen(
        [sys.executable, "-m", "gymtools", "open", "--no-browser"],
        cwd=ROOT,
        env=bare,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        # a shell that runs the tests in the background has told all it starts to ignore Ctrl+C
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    try:
        yield process, printed(process, ADDRESS)
    finally:
        process.kill() if process.poll() is None else None
        process.wait()


def test_the_printed_address_opens_the_workbook(opened):
    """Behavior: the address leads to JupyterLab and to the design workbook, with the project's own
    settings; without the token nobody gets in.
    """
    address, (port, path, token) = opened[1][0], opened[1].groups()
    assert path == "workbooks/design_meeting.ipynb"
    status, page = fetched(address)
    assert status == 200 and "jupyter-config-data" in page
    status, found = fetched(f"http://127.0.0.1:{port}/api/contents/{path}?token={token}")
    cells = json.loads(found)["content"]["cells"]
    assert status == 200 and any("meeting(scenario, folder" in c["source"] for c in cells)
    plugin = "@jupyterlab/apputils-extension:notification"
    _, settings = fetched(f"http://127.0.0.1:{port}/lab/api/settings/{plugin}?token={token}")
    own = json.loads((ROOT / ".jupyter" / "overrides.json").read_text(encoding="utf-8"))[plugin]
    defaults = json.loads(settings)["schema"]["properties"]
    assert own and all(defaults[name]["default"] == value for name, value in own.items())
    assert fetched(f"http://127.0.0.1:{port}/api/contents")[0] == 403


def test_what_a_replaced_connection_still_hears_is_read_as_agreed(monkeypatch):
    """Regression: a page has connected anew and still sends on its first connection, which the
    server has closed: the message is read as it was written. The server once took its first bytes
    for a hundred million lengths and held 3.4 GB.
    """
    monkeypatch.setattr(ZMQChannelsWebsocketConnection, "connect", lambda _: None)
    handler = KernelWebsocketHandler.__new__(KernelWebsocketHandler)
    handler.ws_connection = SimpleNamespace(selected_subprotocol=AGREED, close=lambda *_: None)
    manager = SimpleNamespace(allowed_message_types=[])
    monkeypatch.setattr(KernelConnection, "multi_kernel_manager", manager)
    connection, sent = KernelConnection(websocket_handler=handler), []
    monkeypatch.setattr(connection.session, "send_raw", lambda _, parts: sent.append(parts))
    connection.channels = {"shell": object()}
    connection.connect()
    handler.close()
    assert handler.ws_connection is None
    parts = [b"{}", b"{}", b"{}", b'{"code": "1"}']
    connection.handle_incoming_message(serialize_msg_to_ws_v1(parts, "shell"))
    assert sent == [parts]


def test_ctrl_c_ends_it(opened):
    """Behavior: Ctrl+C ends command and server, and says so; the port is free again."""
    process, match = opened
    process.send_signal(signal.SIGINT)
    assert process.wait(60) == 0
    assert launch.free_port("127.0.0.1", int(match[1])) == int(match[1])


def test_root_is_no_obstacle():
    """Behavior: JupyterLab is told that root is meant, and only then; no port is guessed at."""
    root, other = (
        launch.server_command(ROOT, host="127.0.0.1", port=9999, root=root)
        for root in (True, False)
    )
    assert "--allow-root" in root and "--allow-root" not in other
    assert "--ServerApp.port_retries=0" in other and "--no-browser" in other


def test_a_port_that_is_taken_is_refused():
    """Behavior: the refusal names the port and the way out; a free port is found when none is
    asked for.
    """
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        with pytest.raises(
            ValueError, match=rf"port {port} of 127\.0\.0\.1 cannot be used .*--port"
        ):
            launch.free_port("127.0.0.1", port)
    assert 1024 < launch.free_port("127.0.0.1") < 65536
    with pytest.raises(ValueError, match="port 99999 of 127"):
        launch.free_port("127.0.0.1", 99999)


def test_without_a_screen_no_browser_is_opened(monkeypatch):
    """Behavior: a text browser would take the terminal, so a machine without a screen has none."""
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert not launch.has_browser()


def test_a_server_that_does_not_start_is_reported(tmp_path, monkeypatch, capsys):
    """Behavior: when JupyterLab ends at once, its last line is the refusal."""
    broken = [sys.executable, "-c", "import sys; sys.exit('no room on the disk')"]
    monkeypatch.setattr(launch, "server_command", lambda *_, **__: broken)
    with pytest.raises(ValueError, match="JupyterLab did not start: no room on the disk"):
        launch.open_workbook(browser=False)
    with pytest.raises(ValueError, match=r"notes\.txt: there is no such notebook"):
        (tmp_path / "notes.txt").touch()
        launch.open_workbook(tmp_path / "notes.txt")
    monkeypatch.setattr(launch.importlib.util, "find_spec", lambda _: None)
    with pytest.raises(ValueError, match="JupyterLab is not installed"):
        launch.open_workbook(browser=False)
    assert capsys.readouterr().out == ""


SCHOOL = str(ROOT / "scenarios" / "dovecote.toml")


@pytest.mark.parametrize(
    "typed, said",
    [
        (["testplan", "nothing.toml"], "nothing.toml"),
        (["testplan", "."], ".: is no ordinary file"),
        (["testplan", SCHOOL, "--use", "regatta"], "--use 'regatta': Dovecote Primary School has"),
        (["record", SCHOOL, "--folder", "nowhere"], "--folder nowhere: there is no such folder"),
        (["record", SCHOOL, "--folder", SCHOOL], "is no folder"),
        (["letter", SCHOOL, "--folder", "/proc"], "--folder /proc: nothing can be written there"),
        (["record", SCHOOL, "--folder", "/proc/1"], "nothing can be written there"),
        (["record", SCHOOL, "--against", SCHOOL], "two options are called 'dovecote'"),
        (["record", SCHOOL, "--prices", "nowhere.csv"], "nowhere.csv"),
        (["report", SCHOOL, "nothing.csv"], "nothing.csv: there is no such entry sheet"),
        (["report", SCHOOL, "."], ".: is no ordinary file"),
        (["open", "around.ipynb"], "links lead in a circle"),
        (["open", "n" * 300 + ".ipynb"], "File name too long"),
        (["open", "--port", "-5"], "port -5 of 127.0.0.1 cannot be used"),
        (["open", "--host", "nowhere.invalid"], "nowhere.invalid cannot be used"),
        (["open", "--host", "n" * 300], "cannot be used"),
        (["open", "--host", ""], "argument --host: is empty"),
    ],
)
def test_whatever_is_typed_is_answered_in_one_line(typed, said, tmp_path, monkeypatch, capsys):
    """Behavior: one line on what is wrong, no traceback, status 2, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "around.ipynb").symlink_to("around.ipynb")
    try:
        status = main(typed)
    except SystemExit as ended:  # an argument that cannot be parsed
        status = ended.code
    assert status == 2
    out, err = capsys.readouterr()
    assert said in err and err.count("\n") == 1 and out == ""
    assert [p.name for p in tmp_path.iterdir()] == ["around.ipynb"]


def test_ctrl_c_and_a_failing_browser_end_quietly(monkeypatch, capsys):
    """Behavior: Ctrl+C anywhere says Stopped, with the status of a shell; a browser that fails does
    not keep the address back.
    """

    def pressed(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(on_site, "load", pressed)
    assert main(["testplan", "x.toml"]) == 130
    assert capsys.readouterr().err == "\nStopped.\n"

    def failing(_):
        raise launch.webbrowser.Error("no window")

    monkeypatch.setattr(launch, "has_browser", lambda: True)
    monkeypatch.setattr(launch.webbrowser, "open", failing)
    launch._say("http://address", True)
    assert "Open this address in a browser" in capsys.readouterr().out


@pytest.mark.parametrize("error, status", [(BrokenPipeError(32, "Broken pipe"), 141), (0, 2)])
def test_nobody_reads_or_the_disk_is_full(error, status, monkeypatch, capfd):
    """Behavior: a closed pipe (``| head``) ends without a word, a full disk under the output with
    one line.
    """

    def written(_):
        raise error or OSError(28, "No space left on device")

    monkeypatch.setattr(on_site, "load", written)
    monkeypatch.setattr(entry, "_print_nowhere", lambda: None)
    assert main(["testplan", "x.toml"]) == status
    err = capfd.readouterr().err
    assert err == ("" if error else "the output cannot be written: No space left on device\n")


def test_a_closed_pipe_leaves_nothing_on_the_screen(tmp_path):
    """Behavior: the real command into a pipe that is closed: no word, status 141."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "gymtools", "testplan", SCHOOL, "--use", "class"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=write,
        stderr=subprocess.PIPE,
    )
    os.close(write)
    assert done.returncode == 141 and done.stderr == b""
