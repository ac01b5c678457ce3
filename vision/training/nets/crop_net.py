"""The crop network: from one still's crops to each ball's offset, its error, and names.

Each crop is judged alone for where the ball's centre lies and whether there is a ball; names are
given by all crops of a still together, since paints tell apart best beside each other and the
lamps colour them all alike.
"""

from __future__ import annotations

import torch
from torch import nn

from vision.layout import BALL_IDS
from vision.place.crops import CROP_SIDE

NAMES = len(BALL_IDS)
EMBEDDING = 96
HEADS = 4
LARGEST_LOG = 4.0
"""Bound of the log precisions' magnitude, per mm."""


def _conv(channels: int, out: int, size: int, step: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(channels, out, size, step, size // 2, bias=False),
        nn.BatchNorm2d(out),
        nn.SiLU(inplace=True),
    )


class _Block(nn.Module):
    """Two convolutions beside a shortcut."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.body = nn.Sequential(_conv(channels, channels, 3, 1), _conv(channels, channels, 3, 1))

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        return seen + self.body(seen)


class _Among(nn.Module):
    """Attention of every crop of a still to all of them, then a small mixing layer."""

    def __init__(self) -> None:
        super().__init__()
        self.before = nn.LayerNorm(EMBEDDING)
        self.ask = nn.Linear(EMBEDDING, 3 * EMBEDDING)
        self.answer = nn.Linear(EMBEDDING, EMBEDDING)
        self.mix = nn.Sequential(
            nn.LayerNorm(EMBEDDING), nn.Linear(EMBEDDING, 2 * EMBEDDING), nn.SiLU(),
            nn.Linear(2 * EMBEDDING, EMBEDDING),
        )  # fmt: skip

    def forward(self, seen: torch.Tensor, hidden: torch.Tensor) -> torch.Tensor:
        """``seen`` (S, K, E); ``hidden`` (S, 1, 1, K) is added to the scores: −1e4 for padding."""
        stills, crops, _ = seen.shape
        parts = self.ask(self.before(seen)).reshape(stills, crops, 3, HEADS, EMBEDDING // HEADS)
        query, key, value = parts.permute(2, 0, 3, 1, 4).unbind(0)
        score = query @ key.transpose(-1, -2) / (EMBEDDING // HEADS) ** 0.5 + hidden
        told = (score.softmax(-1) @ value).transpose(1, 2).reshape(stills, crops, EMBEDDING)
        seen = seen + self.answer(told)
        out: torch.Tensor = seen + self.mix(seen)
        return out


class CropNet(nn.Module):
    """Crops (…, 3, 56, 56) BGR, 0 … 1 → places, ball or not, names, embeddings."""

    def __init__(self) -> None:
        super().__init__()
        self.trunk = nn.Sequential(
            _conv(3, 32, 5, 2), _Block(32), _conv(32, 64, 3, 2), _Block(64),
        )  # fmt: skip
        cells = (CROP_SIDE // 4) ** 2
        self.where = nn.Sequential(
            nn.Conv2d(64, 12, 1), nn.SiLU(), nn.Flatten(), nn.Linear(12 * cells, 96), nn.SiLU(),
            nn.Linear(96, 5),
        )  # fmt: skip
        self.deep = nn.Sequential(_conv(64, 96, 3, 2), _Block(96), nn.Conv2d(96, 24, 1), nn.SiLU())
        self.embed = nn.Linear(24 * (CROP_SIDE // 8) ** 2, EMBEDDING)
        self.ball = nn.Linear(EMBEDDING, 1)
        self.among = nn.ModuleList([_Among(), _Among()])
        self.name = nn.Sequential(nn.LayerNorm(EMBEDDING), nn.Linear(EMBEDDING, NAMES))

    def keep_places(self) -> None:
        """What says where a ball's centre lies is learned no further."""
        for part in (self.trunk, self.where):
            part.requires_grad_(False)

    def train_steadily(self) -> None:
        """Train with the means and spreads that every layer is used to."""
        self.train()
        for part in self.modules():
            if isinstance(part, nn.BatchNorm2d):
                part.eval()

    def crops(self, seen: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Crops (N, 3, 56, 56) → place (N, 5), ball logit (N,), embedding (N, E).

        A place is the offset in mm, then the logs of the precision's Cholesky diagonal and its
        lower corner, per mm.
        """
        light = seen - 0.5
        low = self.trunk(light)
        place = self.where(low)
        embedding = self.embed(self.deep(low).flatten(1))
        bounded = LARGEST_LOG * torch.tanh(place[:, 2:4] / LARGEST_LOG)
        place = torch.cat([5.0 * place[:, :2], bounded, place[:, 4:]], dim=1)
        return place, self.ball(embedding)[:, 0], embedding

    def names(self, embedding: torch.Tensor, present: torch.Tensor) -> torch.Tensor:
        """Embeddings (S, K, E) and which of them count (S, K) → logits (S, K, 16)."""
        hidden = (present.to(embedding.dtype) - 1)[:, None, None, :] * 1e4
        for layer in self.among:
            embedding = layer(embedding, hidden)
        out: torch.Tensor = self.name(embedding)
        return out

    def forward(
        self, seen: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
        """One still's crops (K, 3, 56, 56) → place (K, 5), ball (K,), names (K, 16), embedding.

        Crops that are rather no ball are not heeded by the others.
        """
        place, ball, embedding = self.crops(seen)
        heeded = (ball > 0)[None]
        names = self.names(embedding[None], heeded)[0]
        return place, ball, names, embedding


def place_loss(place: torch.Tensor, true_mm: torch.Tensor) -> torch.Tensor:
    """Negative log likelihood (N,) of true offsets (N, 2) under the stated normal law.

    Beyond three sigmas it grows as the distance, so that one wrong crop does not rule.
    """
    off = true_mm - place[:, :2]
    first, second, corner = place[:, 2].exp(), place[:, 3].exp(), place[:, 4]
    scaled_x = first * off[:, 0] + corner * off[:, 1]
    scaled_y = second * off[:, 1]
    far = (scaled_x**2 + scaled_y**2 + 1e-9).sqrt()
    cost = torch.where(far < 3.0, 0.5 * far**2, 3.0 * far - 4.5)
    return cost - place[:, 2] - place[:, 3]
