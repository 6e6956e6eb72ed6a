using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Finds where a surface meshed anew is at fault and locks the input's vertices around.</summary>
internal sealed class RemeshCheck(TriangleTree input, EdgeTable inputEdges, RemeshParameters parameters, RunContext run)
{
    private readonly Lazy<bool[]> _crossed = new(() => CrossedTriangles(input, inputEdges, run));
    private readonly List<int> _near = [];

    /// <summary>Locks what is near a fault, the wider the later the round; false where there is none.</summary>
    internal bool LockFaults(TriangleTree result, int round, bool[] locked)
    {
        var reach = parameters.TargetEdgeMm * 0.5 * (1 << Math.Min(round, 6));
        var edges = EdgeTable.Build(result.Mesh);
        var any = false;
        foreach (var pair in SelfIntersections.Find(result, edges, run).Pairs)
        {
            if (pair.Contact == Contact.Touching)
                continue;
            Box3 first = Bounds(result.Mesh, pair.First), second = Bounds(result.Mesh, pair.Second);
            if (WasCrossed(first) && WasCrossed(second))
                continue;
            any = true;
            Lock(first.Including(second).Grown(reach), locked);
        }

        if (parameters.MaxDistanceMm is not { } limit)
            return any;
        foreach (var t in new HausdorffBound(input, inputEdges, limit).Beyond(result.Mesh, run))
        {
            any = true;
            Lock(Bounds(result.Mesh, t).Grown(reach / 2), locked);
        }

        foreach (var t in new HausdorffBound(result, edges, limit).Beyond(input.Mesh, run))
        {
            any = true;
            Lock(Bounds(input.Mesh, t).Grown(reach / 2), locked);
        }

        return any;
    }

    /// <summary>Both meshes have the same origin, so boxes are in the frame of either.</summary>
    private static Box3 Bounds(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return Box3.Empty.Including(mesh.Local(a)).Including(mesh.Local(b)).Including(mesh.Local(c));
    }

    private void Lock(Box3 box, bool[] locked)
    {
        _near.Clear();
        input.TrianglesNearLocal(box.Min, box.Max, _near);
        foreach (var t in _near)
            for (var h = 3 * t; h < (3 * t) + 3; h++)
                locked[input.Mesh.Triangles[h]] = true;
    }

    private bool WasCrossed(Box3 box)
    {
        _near.Clear();
        var grown = box.Grown(parameters.TargetEdgeMm);
        input.TrianglesNearLocal(grown.Min, grown.Max, _near);
        foreach (var t in _near)
            if (_crossed.Value[t])
                return true;
        return false;
    }

    private static bool[] CrossedTriangles(TriangleTree input, EdgeTable edges, RunContext run)
    {
        var crossed = new bool[input.Mesh.TriangleCount];
        foreach (var pair in SelfIntersections.Find(input, edges, run).Pairs)
            if (pair.Contact != Contact.Touching)
                crossed[pair.First] = crossed[pair.Second] = true;
        return crossed;
    }
}
