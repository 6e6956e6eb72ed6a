using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>A plane to cut a model along that is too large.</summary>
/// <param name="SectionMm2">Area of material there.</param>
public sealed record CutProposal(Vec3 PointMm, Vec3 Normal, double SectionMm2);

/// <summary>Whether a model fits the build volume as it lies, and where to cut it if not.</summary>
/// <param name="SizeMm">Along right, back and up, turned about up as it fits best.</param>
/// <param name="TurnDeg">About up.</param>
public sealed record PlateFit(bool Fits, Vec3 SizeMm, double TurnDeg, IReadOnlyList<CutProposal> Cuts)
{
    private const int Turns = 90;
    private const int Planes = 48;

    // Left for skirt, brim and the last millimetre that no machine reaches.
    private const double RoomMm = 1;

    // A part that is cut off is longer by its pegs.
    private const double PegMm = 8;

    /// <summary>Looks at the model as it lies, turned about the upright axis in steps of 2°.</summary>
    /// <remarks>
    /// Where it fits at no turn, cuts are proposed along each axis that is too long, as few as the length needs and each in the part that both halves
    /// must still fit: where the plane meets the least material, as long as there is some to hold pegs. Area of a section: sum over the triangles it
    /// meets, exact; 48 planes are tried. Parts are to be laid anew, so that a cut helps even where a part is still too long this way.
    /// Cost: O(triangles) a turn and a plane.
    /// </remarks>
    public static PlateFit Of(Mesh mesh, Vec3 up, PrintProfile profile, RunContext run)
    {
        var frame = UpFrame.Of(up);
        var build = profile.BuildVolumeMm;
        var room = new Vec3(build.X - (2 * RoomMm), build.Y - (2 * RoomMm), build.Z - RoomMm);
        var extents = new (Vec3 Low, Vec3 High)[Turns];
        Partition.For(run, Turns, i => extents[i] = Extent(mesh, Turned(frame, 2 * i)));
        static double Over(Vec3 size, Vec3 room) => Math.Max(0, size.X - room.X) + Math.Max(0, size.Y - room.Y) + Math.Max(0, size.Z - room.Z);
        static int Parts(Vec3 size, Vec3 room) => PartsOf(size.X, room.X) * PartsOf(size.Y, room.Y) * PartsOf(size.Z, room.Z);
        var best = Enumerable.Range(0, Turns).MinBy(i => (Parts(extents[i].High - extents[i].Low, room), Over(extents[i].High - extents[i].Low, room), i));
        var (low, high) = extents[best];
        var size = high - low;
        if (Over(size, room) == 0)
            return new(true, size, 2 * best, []);
        var turned = Turned(frame, 2 * best);
        var cuts = new List<CutProposal>();
        foreach (var (axis, from, to, most) in (ReadOnlySpan<(Vec3, double, double, double)>)[(turned.Right, low.X, high.X, room.X), (turned.Back, low.Y, high.Y, room.Y), (turned.Up, low.Z, high.Z, room.Z)])
            cuts.AddRange(Along(mesh, axis, from, to, most, run));
        return new(false, size, 2 * best, cuts);
    }

    private static UpFrame Turned(UpFrame frame, double degrees)
    {
        var (sin, cos) = Math.SinCos(degrees * Math.PI / 180);
        return new((frame.Right * cos) + (frame.Back * sin), (frame.Back * cos) - (frame.Right * sin), frame.Up);
    }

    private static (Vec3 Low, Vec3 High) Extent(Mesh mesh, UpFrame frame)
    {
        var bounds = Box3.Empty;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var p = mesh.Local(v);
            bounds = bounds.Including(new Vec3(Vec3.Dot(p, frame.Right), Vec3.Dot(p, frame.Back), Vec3.Dot(p, frame.Up)));
        }

        return bounds.IsEmpty ? (Vec3.Zero, Vec3.Zero) : (bounds.Min, bounds.Max);
    }

    private static int PartsOf(double lengthMm, double roomMm) =>
        lengthMm <= roomMm ? 1 : (int)Math.Ceiling(lengthMm / Math.Max(1, roomMm - PegMm));

    private static IEnumerable<CutProposal> Along(Mesh mesh, Vec3 axis, double low, double high, double most, RunContext run)
    {
        var parts = PartsOf(high - low, most);
        most -= PegMm;
        var at = low;
        for (var n = parts; n > 1; n--)
        {
            // This part may be as long as the room, and what is left must go into n − 1 parts.
            double from = Math.Max(high - ((n - 1) * most), at + (0.25 * most)), to = Math.Min(at + most, high - (0.05 * most));
            if (from > to)
                from = to;
            var planes = Enumerable.Range(0, Planes).Select(i => from + ((to - from) * (i + 0.5) / Planes)).ToArray();
            var areas = new double[Planes];
            Partition.For(run, Planes, i => areas[i] = SectionMm2(mesh, axis, planes[i]));
            var mean = areas.Average();
            // Nothing to peg together is no joint.
            var best = Enumerable.Range(0, Planes).Where(i => areas[i] > 0.1 * mean).MinBy(i => (areas[i], i));
            at = planes[best];
            yield return new(mesh.OriginMm + (axis * at), axis, areas[best]);
        }
    }

    /// <summary>Half the sum of p × q along the segments that a plane cuts out of an oriented closed surface.</summary>
    internal static double SectionMm2(Mesh mesh, Vec3 axis, double height)
    {
        double twice = 0;
        Span<Vec3> ends = stackalloc Vec3[2];
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            Vec3 p = mesh.Local(a), q = mesh.Local(b), r = mesh.Local(c);
            double dp = Vec3.Dot(p, axis) - height, dq = Vec3.Dot(q, axis) - height, dr = Vec3.Dot(r, axis) - height;
            if (dp >= 0 == dq >= 0 && dq >= 0 == dr >= 0)
                continue;
            // Seen from where the axis points, material is left of the segment from where the triangle goes down to where it goes up.
            Cross(p, q, dp, dq, ends);
            Cross(q, r, dq, dr, ends);
            Cross(r, p, dr, dp, ends);
            twice += Vec3.Dot(Vec3.Cross(ends[0], ends[1]), axis);
        }

        return Math.Abs(twice) / 2;
    }

    private static void Cross(Vec3 from, Vec3 to, double below, double above, Span<Vec3> ends)
    {
        if (below >= 0 == above >= 0)
            return;
        ends[below < 0 ? 1 : 0] = Vec3.Lerp(from, to, below / (below - above));
    }
}
