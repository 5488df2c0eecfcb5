"""Depth-graded foam in numpy, for the time of the same solve: gap file, cells a side, cell side [m].

Prints seconds of the solve and the force [N]. One thread: scipy.fft with its default workers.
"""
import sys
import time
import numpy as np
from scipy.fft import irfft2, rfft2

H, SPREAD, FIRST, GROWTH, DEAD = 0.02, 1.5, 0.5e-3, 1.6, 12.0
n, dx = int(sys.argv[2]), float(sys.argv[3])
gap = np.fromfile(sys.argv[1]).reshape(n, n)

strain = np.concatenate([np.linspace(0, 0.3, 1501), np.linspace(0.3002, 0.985, 3000)])
shape = lambda e: 2.6 * (1 - np.exp(-e / 0.05)) + 1.2 * e + 0.375 * (e / (1 - e)) ** 3
stress = 3500.0 / shape(0.4) * shape(strain)
E0 = 3500.0 / shape(0.4) * (2.6 / 0.05 + 1.2)
excess = strain - stress / E0
slope = np.gradient(excess, stress)
energy = np.concatenate([[0], np.cumsum(0.5 * (excess[1:] + excess[:-1]) * np.diff(stress))])


def collapse(s):
    inside = np.minimum(np.maximum(s, 0), stress[-1])
    return [np.where(s > 0, np.interp(inside, stress, t), 0) for t in (excess, slope, energy)]


def arriving(q, z):
    t = np.clip(q * H, 1e-6, 60)
    s = t * (1 - z / H)
    es, et = np.exp(-2 * s), np.exp(-2 * t)
    b = 0.5 * (t * (1 + et) - (1 - et)) / (2 * (1 + et) + t * (1 - et))
    f = lambda x, e: (1 + e) - 0.5 * x * (1 - e) + b * (x * (1 + e) + (1 - e))
    return np.where(q * H > 50, (1 + q * z) * np.exp(-q * z), np.exp(s - t) * f(s, es) / f(t, et))


kx, ky = 2 * np.pi * np.fft.fftfreq(n, dx), 2 * np.pi * np.fft.rfftfreq(n, dx)
q = np.hypot(kx[:, None], ky[None, :])
nodes, weights = np.polynomial.legendre.leggauss(4)
edges = [0.0, FIRST]
height = FIRST
while edges[-1] < H * (1 - 1e-9):
    height *= GROWTH
    edges.append(H if edges[-1] + 1.4 * height >= H else edges[-1] + height)
mean = lambda top, h, k: sum(0.5 * w * arriving(k * q, top + 0.5 * h * (x + 1)) for x, w in zip(nodes, weights))
cells = list(zip(edges[:-1], np.diff(edges)))
kernel = sum(h * mean(top, h, 1.0) for top, h in cells) / E0


def crop(F, m):
    h = m // 2
    return F if m == n else np.concatenate([F[:h, : h + 1], F[n - h :, : h + 1]])


def widen(F, m):
    if m == n:
        return F
    h = m // 2
    G = np.zeros((n, n // 2 + 1), complex)
    G[:h, : h + 1], G[n - h + 1 :, : h + 1] = F[:h], F[h + 1 :]
    return G


levels = []
for top, h in cells:
    m = n
    while top and m > 32 and np.pi / (dx * n / (m // 2)) * top * SPREAD > DEAD:
        m //= 2
    levels.append((h, m, crop(np.sqrt(np.maximum(mean(top, h, SPREAD), 0)), m)))
both = lambda m: np.where(np.isin(np.arange(m // 2 + 1), [0, m // 2]), 1.0, 2.0)[None, :]
diagonal = (kernel * both(n)).sum() / n**2
squares = [(S * S * both(m)).sum() / n**2 for _, m, S in levels]


def look(p):
    P = rfft2(p)
    W, slopes = P * kernel, []
    J = 0.5 * (p * irfft2(W, (n, n))).sum() - (p * gap).sum()
    for h, m, S in levels:
        c = (m / n) ** 2
        x, t, u = collapse(irfft2(crop(P, m) * S, (m, m)) * c)
        W = W + widen(rfft2(x) * S * (h / c), m)
        J += h * u.sum() / c
        slopes.append(t)
    return irfft2(W, (n, n)), slopes, J


def curvature(d, slopes):
    P = rfft2(d)
    total = (d * irfft2(P * kernel, (n, n))).sum()
    for (h, m, S), t in zip(levels, slopes):
        c = (m / n) ** 2
        total += h * (t * (irfft2(crop(P, m) * S, (m, m)) * c) ** 2).sum() / c
    return total


start = time.time()
p = np.where(gap > 0, 3500.0 / shape(0.4) * shape(np.clip(gap / H, 0, 0.4)), 0.0)
w, slopes, J = look(p)
d, old, last, fresh = np.zeros_like(p), np.zeros_like(p), 1.0, True
for _ in range(300):
    r, touched = w - gap, p > 0
    error = (p * abs(r)).sum() / (p * np.maximum(gap, 0)).sum()
    if error < 2e-4 and max(np.max(-r[~touched]), 0) < 2e-3 * gap.max():
        break
    M = diagonal + sum(
        h * s * np.kron(np.maximum(t, 0), np.ones((n // m, n // m)))
        for (h, m, _), s, t in zip(levels, squares, slopes)
    )
    z = r / M
    norm = (r * z)[touched].sum()
    turn = 0.0 if fresh else max(0.0, ((r - old) * z)[touched].sum() / last)
    d = np.where(touched, z + turn * d, 0.0)
    if (r * d).sum() <= 0:
        d = np.where(touched, z, 0.0)
    last, old = norm, r
    step = (r * d)[touched].sum() / curvature(d, slopes)
    grown = np.where(~touched & (r < 0), -0.5 * z, 0.0)
    fresh, share = (grown > 0).sum() > 0.002 * touched.sum(), 1.0
    while True:
        trial = np.maximum(p - share * step * d, 0) + share * min(step, 1.0) * grown
        w, slopes, lower = look(trial)
        if lower <= J + 1e-9 * abs(J) or share < 1e-4:
            break
        share, fresh = 0.4 * share, True
    p, J = trial, lower
print(time.time() - start, p.sum() * dx * dx)
