"""A strict reader of pages: what is opened is closed, names are single, and what refers to a name finds it."""

import re
from html.parser import HTMLParser

VOID = {"meta", "input", "link", "br", "hr", "img"}
HEADINGS = ("h1", "h2", "h3", "h4")
REFERRING = ("for", "aria-labelledby", "aria-describedby")


class Page(HTMLParser):
    """Elements in order as (tag, attributes), headings, tables by id, and text outside scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict]] = []
        self.words: list[str] = []
        self.raw: dict[str, str] = {}
        self.tables: dict[str, list[list[str]]] = {}
        self._rows: list[list[str]] | None = None
        self.feed(text)
        self.close()
        assert self.open == [], self.open

    def handle_starttag(self, tag, attrs):
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), (tag, attrs)
        self.elements.append((tag, dict(attrs)))
        if tag == "table" and "id" in dict(attrs):
            self._rows = self.tables[dict(attrs)["id"]] = []
        if tag == "tr" and self._rows is not None:
            self._rows.append([])
        if tag in ("td", "th") and self._rows is not None:
            self._rows[-1].append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        assert "svg" in self.open, f"<{tag}/> outside a picture"
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> too many"
        assert self.open.pop() == tag, f"</{tag}> closes another"
        if tag == "table":
            self._rows = None

    def handle_data(self, data):
        if self.open and self.open[-1] in ("script", "style"):
            self.raw[f"{self.open[-1]} {len(self.raw)}"] = data
            return
        self.words.append(data)
        if self._rows and {"td", "th"} & set(self.open):
            self._rows[-1][-1] += data

    def all(self, tag: str) -> list[dict]:
        """Attributes of every element of a kind."""
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def text(self) -> str:
        return " ".join("".join(self.words).split())

    def check(self, served: bool = False) -> None:
        """The rules that every page of ours holds to; one that is served may have forms, and what it fetches itself."""
        ids = [a["id"] for _, a in self.elements if "id" in a]
        assert len(ids) == len(set(ids)), ids
        for tag, attributes in self.elements:
            for name in REFERRING:
                for target in (attributes.get(name) or "").split():
                    assert target in ids, (tag, attributes)
            assert not any(name.startswith("on") for name in attributes), (tag, attributes)
            if tag == "img" and not served:  # a photograph, written into the page
                assert attributes.pop("src").startswith("data:image/jpeg;base64,")
                assert attributes["alt"] and int(attributes["width"]) and int(attributes["height"])  # noqa: PT018
            fetched = {"src", "action"} & set(attributes) if served else set()
            assert all(re.fullmatch(r"/(?!/).*", attributes[name]) for name in fetched), (tag, attributes)
            never = {
                "src",
                "srcset",
                "action",
                "formaction",
                "style",
                "srcdoc",
                "poster",
                "background",
                "ping",
            } - fetched
            assert not never & set(attributes), (tag, attributes)
            assert not (attributes.get("href") or "").lower().startswith(("javascript:", "data:", "//", "http")), (
                attributes
            )
        levels = [HEADINGS.index(tag) for tag, _ in self.elements if tag in HEADINGS]
        assert levels.count(0) == 1
        assert all(after <= before + 1 for before, after in zip([-1, *levels], levels, strict=False)), levels
        for tag in ("header", "main", "footer", "html", "head", "body"):
            assert len(self.all(tag)) == 1, tag
        assert self.all("html")[0]["lang"] == "en"
        labelled = {a["for"] for a in self.all("label")}
        for tag in ("input", "select"):
            shown = [a for a in self.all(tag) if a.get("type") != "hidden"]
            assert all("aria-label" in a or a["id"] in labelled for a in shown), tag
        refused = {"iframe", "object", "embed", "base", "form", "image", "use", "foreignobject"}
        refused -= {"form"} if served else set()
        assert not refused & {tag.lower() for tag, _ in self.elements}
