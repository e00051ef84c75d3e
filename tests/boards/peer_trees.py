#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Spanning trees and wire lengths against networkx and scipy, general-purpose libraries.

  peer_trees.py make SEED FILE    writes a random layout (IPC-D-356A, no tracks)
  peer_trees.py trees             reads places_dump's output; compares each net's tree with both libraries
  peer_trees.py wires FILE JSON NET CUT...   compares wires --json with the minimum over all pairs of pins, and the
                                  total with a minimum spanning tree of the groups
"""
import itertools, json, math, random, sys


def make(seed, path):
    r = random.Random(seed)
    out = ['C  random places', 'P  UNITS CUST 1']
    for net in range(40):
        spots = set()
        while len(spots) < r.choice((2, 3, 5, 9, 40)):
            spots.add((r.randrange(0, 200000), r.randrange(0, 150000)))
        for pin, (x, y) in enumerate(sorted(spots, key=lambda s: r.random())):
            out.append('317%-14s   %-6s-%-4s D0800PA00X%+07dY%+07dX1500Y0000R000 S0' % (
                'N%d' % net, 'U%d' % net, pin + 1, x, y))
    open(path, 'w').write('\n'.join(out) + '\n999\n')


def trees():
    import networkx
    import numpy
    from scipy.sparse.csgraph import minimum_spanning_tree
    nets, points, pieces = 0, [], []

    def check(points, pieces):
        if len(points) < 2:
            return
        assert len(pieces) == len(points) - 1, (len(points), len(pieces))
        ours = networkx.Graph()
        ours.add_nodes_from(range(len(points)))
        ours.add_weighted_edges_from(pieces)
        assert networkx.is_connected(ours)
        whole = networkx.Graph()
        for (i, a), (j, b) in itertools.combinations(enumerate(points), 2):
            whole.add_edge(i, j, weight=math.dist(a, b))
        for a, b, length in pieces:
            assert abs(length - math.dist(points[a], points[b])) < 1e-5
        best = networkx.minimum_spanning_tree(whole).size(weight='weight')
        other = minimum_spanning_tree(numpy.array([[math.dist(a, b) for b in points] for a in points])).sum()
        total = sum(p[2] for p in pieces)
        assert abs(total - best) < 1e-4 and abs(total - other) < 1e-4, (total, best, other)

    for line in sys.stdin:
        word = line.split()
        if word[0] == 'net':
            check(points, pieces)
            nets, points, pieces = nets + 1, [], []
        elif word[0] == 'point':
            points.append((float(word[2]), float(word[3])))
        else:
            pieces.append((int(word[1]), int(word[2]), float(word[3])))
    check(points, pieces)
    assert nets
    print('%d nets: trees as long as those of networkx and scipy' % nets)


def wires(layout, found, net, cut):
    import networkx
    at = {}
    for line in open(layout):
        if line.startswith('317') and line[3:17].strip() == net:
            at[line[20:26].strip() + '.' + line[27:31].strip()] = (int(line[42:49]) / 1000, int(line[50:57]) / 1000)
    got = json.load(open(found))['wires']
    whole = networkx.Graph()
    for a, b in itertools.combinations(at, 2):
        whole.add_edge(a, b, weight=math.dist(at[a], at[b]))
    tree = networkx.minimum_spanning_tree(whole)
    # each single cut pin of a tree falls from all its neighbours: those pieces, and no others, are to be replaced
    broken = [(a, b) for a, b in tree.edges if (a in cut) != (b in cut)]
    left = tree.copy()
    left.remove_edges_from(broken)
    groups = list(networkx.connected_components(left))
    between = networkx.Graph()
    for (i, g), (j, h) in itertools.combinations(enumerate(groups), 2):
        between.add_edge(i, j, weight=min(math.dist(at[a], at[b]) for a in g for b in h))
    best = networkx.minimum_spanning_tree(between).size(weight='weight')
    total = sum(w['length_mm'] for w in got)
    assert len(got) == len(groups) - 1 and best - 1e-6 <= total <= best * 1.5 + 5 * len(got), (len(got), len(groups), total, best)
    for w in got:
        assert abs(w['length_mm'] - math.dist(at[w['from']['pin']], at[w['to']['pin']])) < 1e-6
    return total, best


if sys.argv[1] == 'make':
    make(int(sys.argv[2]), sys.argv[3])
elif sys.argv[1] == 'trees':
    trees()
else:
    print('%.3f mm, least %.3f' % wires(sys.argv[2], sys.argv[3], sys.argv[4], sys.argv[5:]))
