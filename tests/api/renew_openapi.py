"""Writes the reviewed OpenAPI document anew: python tests/api/renew_openapi.py, then read the difference."""

import json
import tempfile
from pathlib import Path

from tests.api.whole import whole_app

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        text = json.dumps(whole_app(Path(folder))[0].openapi(), indent=1, ensure_ascii=False, sort_keys=True)
    (Path(__file__).parent / "openapi.json").write_text(text + "\n", encoding="utf-8")
