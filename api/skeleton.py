"""The machine card that ``setup-audit card new --blank`` prints: small, whole, to be grown from a machine's manual."""

from pathlib import Path

SKELETON = (Path(__file__).parent / "skeleton.yaml").read_text(encoding="utf-8")
