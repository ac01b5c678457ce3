"""What is drawn evenly between two bounds."""

from __future__ import annotations

import torch


def uniform(device: str, low: float, high: float, *shape: int) -> torch.Tensor:
    """Evenly drawn numbers of that shape."""
    return low + (high - low) * torch.rand(*shape, device=device)
