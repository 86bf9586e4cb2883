"""Writes the reviewed OpenAPI document anew: python tests/api/renew_openapi.py, then read the difference."""

import json
from pathlib import Path

from api.app import create_app

if __name__ == "__main__":
    text = json.dumps(create_app().openapi(), indent=1, ensure_ascii=False, sort_keys=True)
    (Path(__file__).parent / "openapi.json").write_text(text + "\n", encoding="utf-8")
