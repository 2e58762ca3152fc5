"""The phone's page on a server: it opens when that is gone, and is the new one when it is not."""

import dataclasses
import functools
import json
import threading
from contextlib import contextmanager
from datetime import timedelta
from http.server import ThreadingHTTPServer

import pytest
from pocket.test_round import SilentHandler, choose_person

from ledger.pocket.page import icon, published

KEPT_ALONE = """async (count) => {
  for (;;) {
    const names = await caches.keys();
    const files = names.length === 1 ? await (await caches.open(names[0])).keys() : [];
    if (files.length === count) return names[0];
    await new Promise((resolve) => setTimeout(resolve, 20));
  }
}"""
"""Until one build alone is kept, whole; its name."""


class Site:
    """A folder on a local server that can be taken away and brought back at the same address."""

    def __init__(self, folder):
        self.folder = folder
        self.server = None
        self.port = 0

    def put(self, walk, name="round.html"):
        for path, held in published(walk, name).items():
            (self.folder / path).write_bytes(held)

    def start(self):
        handler = functools.partial(SilentHandler, directory=self.folder)
        self.server = ThreadingHTTPServer(("127.0.0.1", self.port), handler)
        self.port = self.server.server_port
        threading.Thread(target=self.server.serve_forever).start()

    def stop(self):
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None


@contextmanager
def opened(browser, site, path):
    context = browser.new_context()
    complaints = []
    page = context.new_page()
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"http://127.0.0.1:{site.port}/{path}")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    yield page
    context.close()
    assert complaints == []


@pytest.fixture
def site(tmp_path):
    one = Site(tmp_path)
    yield one
    one.stop()


def next_day(walk):
    return dataclasses.replace(walk, as_of=walk.as_of + timedelta(days=1))


def made_for(page):
    title = page.title()
    return title.rpartition(" ")[2]


def test_it_opens_without_the_server_and_is_the_new_one_with_it(browser, site, walk):
    site.put(walk)
    site.start()
    with opened(browser, site, "round.html") as page:
        first = page.evaluate(KEPT_ALONE, 4)
        choose_person(page)
        page.get_by_label("chain", exact=True).check()
        site.stop()
        page.reload()
        assert made_for(page) == "2026-11-23"
        assert page.get_by_label("chain", exact=True).is_checked()

        site.put(next_day(walk))
        site.start()
        page.reload()
        assert made_for(page) == "2026-11-24", "the network comes first"
        assert page.get_by_label("chain", exact=True).is_checked()
        page.evaluate("navigator.serviceWorker.getRegistration().then((one) => one.update())")
        while (kept := page.evaluate(KEPT_ALONE, 4)) == first:
            page.wait_for_timeout(20)
        assert kept.rpartition(" ")[0] == first.rpartition(" ")[0]

        site.stop()
        page.reload()
        assert made_for(page) == "2026-11-24"


def test_a_page_at_the_top_opens_by_its_folder_too(browser, site, walk):
    site.put(walk, "index.html")
    site.start()
    with opened(browser, site, "") as page:
        page.evaluate(KEPT_ALONE, 5)
        site.stop()
        page.reload()
        assert made_for(page) == "2026-11-23"
        page.goto(f"http://127.0.0.1:{site.port}/index.html")
        assert made_for(page) == "2026-11-23"


def test_what_other_sites_of_the_address_keep_is_left_alone(browser, site, walk):
    site.put(walk)
    site.start()
    with opened(browser, site, "round.html") as page:
        page.evaluate("caches.open('pocket http://127.0.0.1/elsewhere/ 1')")
        site.put(next_day(walk))
        page.evaluate("navigator.serviceWorker.getRegistration().then((one) => one.update())")
        while len({n.rpartition(" ")[0] for n in page.evaluate("caches.keys()")}) < 2:
            page.wait_for_timeout(20)
        assert "pocket http://127.0.0.1/elsewhere/ 1" in page.evaluate("caches.keys()")


def test_the_icons_are_pictures_of_their_size(browser, site, walk):
    files = published(walk, "round.html")
    manifest = json.loads(files["manifest.webmanifest"])
    assert (manifest["start_url"], manifest["scope"]) == ("round.html", "./")
    site.put(walk)
    site.start()
    with opened(browser, site, "round.html") as page:
        for one in manifest["icons"]:
            width = page.evaluate(
                """(src) => new Promise((resolve, reject) => {
                  const image = new Image();
                  image.onload = () => resolve(image.naturalWidth);
                  image.onerror = reject;
                  image.src = src;
                })""",
                one["src"],
            )
            assert one["sizes"] == f"{width}x{width}"
    assert icon(192) == files["icon-192.png"]


def test_the_same_payload_gives_the_same_bytes_and_another_day_another_cache(walk):
    assert published(walk, "round.html") == published(walk, "round.html")
    assert (
        published(walk, "round.html")["sw.js"] != published(next_day(walk), "round.html")["sw.js"]
    )
