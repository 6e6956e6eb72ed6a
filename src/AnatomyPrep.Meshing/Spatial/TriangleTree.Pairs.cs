using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Spatial;

/// <content>Pairs of triangles whose boxes meet: each leaf is carried down the tree as one box, then leaf against leaf.</content>
public sealed partial class TriangleTree
{
    private const int PieceLeaves = 128;

    // Pieces between two looks at how much has been found, and the share of the limit one piece may use.
    private const int PiecesAtOnce = 32;
    private const int PieceShare = 8;

    /// <summary>Pairs of different triangles of this mesh for which the test gives contact, in order; the lower index first.</summary>
    /// <param name="most">Once more than this many are found, or an eighth of it among a thousand neighbours, the search ends.</param>
    internal (List<TrianglePair> Pairs, bool Complete) SelfPairs<TTest>(TTest test, int most, RunContext run)
        where TTest : struct, IPairTest =>
        Collect(LeafCount, most, run, (leaf, found) => PairsOfLeaf(leaf, this, leaf, Vec3.Zero, test, found));

    /// <summary>Pairs of a triangle of this mesh and one of the other for which the test gives contact, in order.</summary>
    /// <param name="most">As for <see cref="SelfPairs"/>.</param>
    internal (List<TrianglePair> Pairs, bool Complete) PairsWith<TTest>(TriangleTree other, TTest test, int most, RunContext run)
        where TTest : struct, IPairTest =>
        Collect(LeafCount, most, run, (leaf, found) => PairsOfLeaf(leaf, other, -1, Mesh.OriginMm - other.Mesh.OriginMm, test, found));

    private static (List<TrianglePair> Pairs, bool Complete) Collect(
        int leaves, int most, RunContext run, Action<int, List<TrianglePair>> pairsOfLeaf)
    {
        var all = new List<TrianglePair>();
        var complete = true;
        var pieces = Partition.Pieces(leaves, PieceLeaves);
        for (var first = 0; first < pieces && complete; first += PiecesAtOnce)
        {
            var found = new List<TrianglePair>[Math.Min(PiecesAtOnce, pieces - first)];
            var start = first;
            Partition.For(run, found.Length, i =>
            {
                var mine = found[i] = [];
                var end = Math.Min(leaves, (start + i + 1) * PieceLeaves);
                for (var leaf = (start + i) * PieceLeaves; leaf < end && mine.Count <= most / PieceShare; leaf++)
                    pairsOfLeaf(leaf, mine);
            });
            foreach (var piece in found)
            {
                all.AddRange(piece);
                complete &= piece.Count <= most / PieceShare;
            }

            complete &= all.Count <= most;
            run.Report("pairs", "overlapping triangles", (double)(first + found.Length) / pieces);
        }

        all.Sort();
        return (all, complete);
    }

    /// <summary>Pairs of one leaf with every leaf of a tree, or with itself and those after it when it belongs to that tree.</summary>
    [SkipLocalsInit]
    private void PairsOfLeaf<TTest>(int leaf, TriangleTree other, int from, in Vec3 shift, TTest test, List<TrianglePair> found)
        where TTest : struct, IPairTest
    {
        var mine = BoxesOf(ref Leaf(leaf));
        if (from < 0)
            mine = Shifted(mine, shift);
        var (low, high) = Union(mine);
        Span<long> stack = stackalloc long[DeepestStack];
        var depth = 0;
        stack[depth++] = Entry(other.RootLevel, 0);
        while (depth > 0)
        {
            var (level, node) = Split(stack[--depth]);
            if (level == LeafLevel)
            {
                PairsOfLeaves(mine, leaf, other, node, node == from, low, high, test, found);
                continue;
            }

            // Children below the first leaf wanted are left out: each pair is found from its earlier leaf.
            var hits = Overlapping(ref other.Box(level, node), low, high);
            var firstWanted = from < 0 ? 0 : (from >> (3 * level)) - (node * Width);
            if (firstWanted > 0)
                hits &= uint.MaxValue << firstWanted;
            for (; hits != 0; hits &= hits - 1)
                stack[depth++] = Entry(level - 1, (node * Width) + BitOperations.TrailingZeroCount(hits));
        }
    }

    private void PairsOfLeaves<TTest>(
        in Boxes8 mine, int leaf, TriangleTree other, int otherLeaf, bool same, in Corner low, in Corner high, TTest test, List<TrianglePair> found)
        where TTest : struct, IPairTest
    {
        var theirs = BoxesOf(ref other.Leaf(otherLeaf));
        for (var hits = theirs.Meets(low, high); hits != 0; hits &= hits - 1)
        {
            var lane = BitOperations.TrailingZeroCount(hits);
            var meets = mine.Meets(
                new(theirs.MinX[lane], theirs.MinY[lane], theirs.MinZ[lane]), new(theirs.MaxX[lane], theirs.MaxY[lane], theirs.MaxZ[lane]));
            if (same)
                meets &= (1u << lane) - 1;
            for (; meets != 0; meets &= meets - 1)
            {
                var first = _order[(leaf * Width) + BitOperations.TrailingZeroCount(meets)];
                var second = other._order[(otherLeaf * Width) + lane];
                if (ReferenceEquals(this, other) && first > second)
                    (first, second) = (second, first);
                var contact = test.Test(first, second);
                if (contact != Contact.None)
                    found.Add(new(first, second, contact));
            }
        }
    }

    /// <summary>Boxes moved into the frame of a mesh with another origin, widened by what rounding may cost.</summary>
    private static Boxes8 Shifted(in Boxes8 boxes, in Vec3 shift)
    {
        if (shift == Vec3.Zero)
            return boxes;
        return new(
            Moved(boxes.MinX, shift.X, -1), Moved(boxes.MinY, shift.Y, -1), Moved(boxes.MinZ, shift.Z, -1),
            Moved(boxes.MaxX, shift.X, 1), Moved(boxes.MaxY, shift.Y, 1), Moved(boxes.MaxZ, shift.Z, 1));
    }

    /// <summary>x + shift, then outward by four units in the last place of the largest quantity that was rounded.</summary>
    private static Vector256<float> Moved(Vector256<float> x, double shift, float outward)
    {
        var by = Vector256.Create((float)shift);
        var margin = (Vector256.Abs(x) + Vector256.Abs(by)) * Vector256.Create(outward * 4 * 1.1920929e-7f);
        return x + by + margin;
    }
}
