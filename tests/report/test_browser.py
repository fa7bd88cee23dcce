"""The page in a browser: no console message, no request, readable for everyone, prints. Skips without Chromium."""

import json
import re
import shutil
import subprocess
from pathlib import Path

import invented_run
import pytest

from pipeline import report

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine; see DEVELOPERS.md")
QUIET = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-extensions", "--no-first-run"]


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "run"
    invented_run.write(folder, 400)
    report.write_report(folder, "us")
    return folder / "report.html"


def browse(tmp_path, *given):
    done = subprocess.run([CHROMIUM, *QUIET, f"--user-data-dir={tmp_path}/profile", *map(str, given)],
                          capture_output=True, text=True, timeout=120, check=False)  # fmt: skip
    return done


def test_no_console_message_and_nothing_asked_of_a_network(page, tmp_path):
    log = tmp_path / "net.json"
    done = browse(tmp_path, "--enable-logging=stderr", f"--log-net-log={log}", "--dump-dom", page.as_uri())
    assert "<main" in done.stdout
    assert "CONSOLE" not in done.stderr, [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    asked = set(re.findall(r'"url":"(https?://[^"]+)"', log.read_text(encoding="utf-8", errors="replace")))
    # what the browser asks on its own behalf carries its maker's hosts; the page may add none
    assert not [url for url in asked if url in page.read_text(encoding="utf-8")]
    html = page.read_text(encoding="utf-8")
    assert not re.findall(r'(?:src|href)="(?!#)[^"]', html) and "url(" not in html and "@import" not in html


def test_every_chart_is_drawn_with_a_size(page, tmp_path):
    script = ("<script>addEventListener('load',()=>{document.title=JSON.stringify([...document.querySelectorAll("
              "'figure svg[role=img]')].map(s=>{const b=s.getBoundingClientRect();return [b.width,b.height,"
              "s.querySelectorAll('rect,path,circle,line').length]}))})</script>")  # fmt: skip
    sizes = json.loads(told(page, tmp_path, script))
    assert len(sizes) >= 8
    for width, height, shapes in sizes:
        assert width > 200 and height > 20 and shapes > 1, sizes


def told(page, tmp_path, script):
    """The title that a script of ours leaves in a copy of the page without its content policy."""
    html = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page.read_text(encoding="utf-8"))
    copy = tmp_path / "copy.html"
    copy.write_text(html.replace("</body>", f"{script}</body>"), encoding="utf-8")
    done = browse(tmp_path, "--virtual-time-budget=20000", "--dump-dom", copy.as_uri())
    found = re.search(r"<title>(.*?)</title>", done.stdout, re.DOTALL)
    assert found, done.stderr[-500:]
    return found.group(1).replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", '"')


def test_reference_axe_finds_nothing_serious(page, tmp_path):
    axe = pytest.importorskip("axe_core_python", reason="axe-core is not installed")
    source = (next(iter(axe.__path__)) + "/axe.min.js")
    code = Path(source).read_text(encoding="utf-8").replace("</script>", "<\\/script>")
    script = (f"<script>{code}</script><script>axe.run(document,{{resultTypes:['violations']}}).then(r=>{{"
              "document.title=JSON.stringify(r.violations.map(v=>[v.impact,v.id,v.nodes.length,"
              "v.nodes[0].target.join(' ')]))})</script>")  # fmt: skip
    found = json.loads(told(page, tmp_path, script))
    assert not [entry for entry in found if entry[0] in ("serious", "critical")], found


def test_keyboard_reaches_the_contents_and_every_wide_table(page, tmp_path):
    script = ("<script>document.title=JSON.stringify([document.querySelectorAll('.scroll').length,"
              "document.querySelectorAll('.scroll[tabindex=\"0\"]').length,document.querySelectorAll('nav a').length,"
              "[...document.querySelectorAll('nav a')].every(a=>document.querySelector(a.getAttribute('href')))])</script>")  # fmt: skip
    tables, reachable, links, all_there = json.loads(told(page, tmp_path, script))
    assert tables == reachable > 5 and links > 8 and all_there


def test_prints_to_pages(page, tmp_path):
    pdf = tmp_path / "page.pdf"
    browse(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
    data = pdf.read_bytes()
    pages = len(re.findall(rb"/Type\s*/Page[^s]", data))
    assert data.startswith(b"%PDF") and 4 <= pages <= 60, pages
