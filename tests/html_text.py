"""The text of a page as a reader sees it."""

from html.parser import HTMLParser


def visible(html):
    """Return the text of a page, style sheet and title left out."""

    class Text(HTMLParser):
        def __init__(self):
            super().__init__()
            self.parts, self.skip = [], False

        def handle_starttag(self, tag, attrs):
            self.skip = tag in ("style", "title")

        def handle_data(self, data):
            if not self.skip:
                self.parts.append(data)

    parser = Text()
    parser.feed(html)
    return " ".join(parser.parts)
