using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Combining;

public enum PegShape
{
    Cylinder,

    /// <summary>The tip has <see cref="CutIntoPartsParameters.TipShare"/> of the foot's diameter; it centres itself.</summary>
    Cone,
}

/// <param name="PointMm">A point of the plane.</param>
/// <param name="Normal">Points to the front part, which has the pegs; the back part has the sockets.</param>
/// <param name="Pegs">How many pegs; 0 cuts only.</param>
/// <param name="ClearanceMm">Gap between peg and socket all round and at the tip.</param>
/// <param name="MinWallMm">Material left around a socket.</param>
/// <param name="GapMm">In the joined mesh, the front part is moved along the normal by the peg's length and this.</param>
public sealed record CutIntoPartsParameters(
    Vec3 PointMm,
    Vec3 Normal,
    int Pegs = 2,
    PegShape Shape = PegShape.Cylinder,
    double DiameterMm = 5,
    double LengthMm = 6,
    double ClearanceMm = 0.2,
    double MinWallMm = 1.5,
    double GapMm = 5)
{
    public const double TipShare = 0.7;
}

/// <summary>What a cut into two parts gives.</summary>
/// <param name="Together">Both parts in one mesh, the front one moved away along the normal.</param>
/// <param name="Front">Where it was, with pegs.</param>
/// <param name="Back">Where it was, with sockets.</param>
/// <param name="PegsMm">Foot of each peg's axis, on the plane.</param>
public sealed record PartsResult(ShapeResult Together, Mesh Front, Mesh Back, IReadOnlyList<Vec3> PegsMm);

/// <summary>Cuts a solid with a plane into two solids that fit together again by pegs and sockets.</summary>
/// <remarks>
/// Where pegs stand: <see cref="PegPlaces"/>. The socket's polygon is laid around its circle and the peg's into its own, so that no
/// side of the one comes nearer to the other than the clearance; a cone's gap is measured at right angles to its side.
/// Caps and sockets have origin cut, pegs added. |front| + |back| = |model| + pegs − sockets.
/// Measures: pegs, sectionAreaMm2, volumeFrontMm3, volumeBackMm3, wallAroundSocketsMm, movedFrontMm.
/// </remarks>
public static class CutIntoParts
{
    private const string Step = "cut-into-parts";

    // How far a peg reaches into its own part and a socket out of its part, so that nothing is left to the plane's rounding.
    private const double FootMm = 0.5;

    /// <exception cref="PlanException">A length is not positive, or the normal or point not usable.</exception>
    /// <exception cref="CheckFailedException">No solid, the plane misses it, or not one peg fits; nothing has changed.</exception>
    public static PartsResult Apply(Mesh mesh, CutIntoPartsParameters parameters, RunContext run)
    {
        Require(parameters);
        var normal = Placement.Direction(Step, "normal", parameters.Normal);
        run.Report(Step, "check", 0);
        var before = SolidCheck.Require(Step, "the model", mesh, run);
        run.Report(Step, "cut", 0.2);
        var (front, back) = Cut.Split(mesh, new(parameters.PointMm, parameters.Normal), run);
        SolidCheck.Require(Step, "the front part", front.Mesh, run);
        SolidCheck.Require(Step, "the back part", back.Mesh, run);
        run.Report(Step, "pegs", 0.5);
        var pegs = parameters.Pegs == 0 ? PegPlaces.None : PegPlaces.Find(mesh, parameters, normal, run);
        if (parameters.Pegs > 0 && pegs.FeetMm.Count == 0)
            throw new CheckFailedException(
                Step,
                FormattableString.Invariant($"room for a peg of {parameters.DiameterMm} mm with {parameters.ClearanceMm + parameters.MinWallMm} mm around it and {parameters.LengthMm} mm deep"),
                FormattableString.Invariant($"at most {pegs.RoomMm:F2} mm of radius on this plane; make pegs thinner or shorter, move the plane, or ask for 0 pegs"));
        var (withPegs, withSockets) = (front.Mesh, back.Mesh);
        List<Finding> findings = [];
        if (pegs.FeetMm.Count > 0)
        {
            var added = SolidEdit.Apply(Step, BooleanOperation.Union, front.Mesh, [.. pegs.FeetMm.Select(f => Peg(mesh.OriginMm, f, -normal, parameters))], run);
            var taken = SolidEdit.Apply(Step, BooleanOperation.Difference, back.Mesh, [.. pegs.FeetMm.Select(f => Socket(mesh.OriginMm, f, -normal, parameters))], run);
            (withPegs, withSockets) = (added.Mesh, taken.Mesh);
            findings.AddRange([.. SolidEdit.SettledFinding(added), .. SolidEdit.SettledFinding(taken)]);
        }

        if (pegs.FeetMm.Count < parameters.Pegs)
            findings.Add(FewerPegs(parameters.Pegs, pegs.FeetMm.Count));
        var movedMm = parameters.GapMm + (pegs.FeetMm.Count > 0 ? parameters.LengthMm : 0);
        var together = Joined(withSockets, Moved(withPegs, normal * movedMm));
        var effect = Effect(before, together, front, withPegs, withSockets, pegs, movedMm, run);
        return new(new(together, effect, findings), withPegs, withSockets, pegs.FeetMm);
    }

    private static Mesh Peg(Vec3 originMm, Vec3 foot, Vec3 direction, CutIntoPartsParameters p)
    {
        var radius = p.DiameterMm / 2;
        var slope = Slope(p);
        return SolidShapes.Frustum(
            originMm,
            foot - (direction * FootMm),
            foot + (direction * p.LengthMm),
            radius + (slope * FootMm),
            radius - (slope * p.LengthMm),
            SolidShapes.Sides(radius),
            Origin.Added);
    }

    private static Mesh Socket(Vec3 originMm, Vec3 foot, Vec3 direction, CutIntoPartsParameters p)
    {
        var radius = p.DiameterMm / 2;
        var slope = Slope(p);
        var sides = SolidShapes.Sides(radius);
        var depth = p.LengthMm + p.ClearanceMm;
        // Measured across the axis, a gap at right angles to a slope is wider.
        var gap = p.ClearanceMm * Math.Sqrt(1 + (slope * slope));
        var around = 1 / Math.Cos(Math.PI / sides);
        return SolidShapes.Frustum(
            originMm,
            foot - (direction * FootMm),
            foot + (direction * depth),
            (radius + gap + (slope * FootMm)) * around,
            (radius + gap - (slope * depth)) * around,
            sides,
            Origin.Cut);
    }

    private static double Slope(CutIntoPartsParameters p) =>
        p.Shape == PegShape.Cone ? p.DiameterMm / 2 * (1 - CutIntoPartsParameters.TipShare) / p.LengthMm : 0;

    private static void Require(CutIntoPartsParameters p)
    {
        if (p.Pegs is < 0 or > 100)
            throw new PlanException(Step, null, "pegs", $"{p.Pegs}", "0 to 100");
        foreach (var (name, value, zero) in (ReadOnlySpan<(string, double, bool)>)[
            ("diameterMm", p.DiameterMm, false), ("lengthMm", p.LengthMm, false), ("gapMm", p.GapMm, false), ("clearanceMm", p.ClearanceMm, true), ("minWallMm", p.MinWallMm, true)])
            if (!double.IsFinite(value) || value < 0 || (value == 0 && !zero))
                throw new PlanException(Step, null, name, Placement.Text(value), zero ? "0 or more" : "a number above 0");
    }

    private static Mesh Moved(Mesh mesh, Vec3 byMm) => new(mesh.OriginMm + byMm, mesh.PositionArray, mesh.TriangleArray, mesh.OriginArray);

    /// <summary>Both in one mesh about the first one's origin; positions of the second are rounded once.</summary>
    private static Mesh Joined(Mesh first, Mesh second)
    {
        var moved = second.Rebased(first.OriginMm);
        var triangles = new int[first.Triangles.Length + moved.Triangles.Length];
        first.Triangles.CopyTo(triangles);
        for (var i = 0; i < moved.Triangles.Length; i++)
            triangles[first.Triangles.Length + i] = moved.Triangles[i] + first.VertexCount;
        return new(first.OriginMm, [.. first.Positions, .. moved.Positions], triangles, [.. first.Origins, .. moved.Origins]);
    }

    private static StepEffect Effect(
        MeshFacts before, Mesh together, ShapeResult front, Mesh withPegs, Mesh withSockets, PegPlaces pegs, double movedMm, RunContext run)
    {
        var (volumeFront, volumeBack) = (MeshMeasures.SignedVolumeMm3(withPegs, run), MeshMeasures.SignedVolumeMm3(withSockets, run));
        return new(
            Math.Abs(MeshMeasures.AreaMm2(together, run) - before.AreaMm2),
            MaxDisplacementMm: movedMm,
            VolumeBeforeMm3: before.VolumeMm3,
            VolumeAfterMm3: volumeFront + volumeBack,
            Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
            {
                ["movedFrontMm"] = movedMm,
                ["pegs"] = pegs.FeetMm.Count,
                ["sectionAreaMm2"] = front.Effect.Measures!["sectionAreaMm2"],
                ["volumeBackMm3"] = volumeBack,
                ["volumeFrontMm3"] = volumeFront,
                ["wallAroundSocketsMm"] = pegs.WallMm,
            });
    }

    private static Finding FewerPegs(int wanted, int found) => new(
        FindingCodes.FewerPegs,
        Severity.Caution,
        $"Room was found for {found} of {wanted} pegs.",
        found == 1 ? "One round peg lets the parts turn: make pegs thinner or shorter, or move the plane." : "Make pegs thinner or shorter to get more.");
}
