"""The same file loaded and welded by trimesh: CPU seconds, corners, peak memory [MB].

Called by benches/figure.rs when FIGURE_PYTHON names an interpreter that has trimesh.
"""

import resource
import sys
import time

import trimesh

best, corners = float("inf"), 0
for _ in range(int(sys.argv[2])):
    start = time.thread_time()
    mesh = trimesh.load(sys.argv[1])
    best = min(best, time.thread_time() - start)
    corners = len(mesh.vertices)
print(best, corners, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
