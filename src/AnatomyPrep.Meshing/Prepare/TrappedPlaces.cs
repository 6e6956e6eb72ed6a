using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>How something is caught in a model.</summary>
public enum TrapKind
{
    /// <summary>No opening.</summary>
    ClosedVoid,

    /// <summary>Every opening is narrower than what must pass.</summary>
    NarrowThroat,

    /// <summary>A cup that lifts liquid out of a vat.</summary>
    Cup,
}

/// <summary>A hole that would open a trap.</summary>
/// <param name="FromMm">In the void.</param>
/// <param name="ToMm">Outside.</param>
/// <param name="WallMm">Material on the way, about.</param>
/// <param name="Opens">It was bored in a copy, which was then found open.</param>
public sealed record DrainProposal(Vec3 FromMm, Vec3 ToMm, double DiameterMm, double WallMm, bool Opens);

/// <summary>A place that something cannot get out of.</summary>
/// <param name="ThroatMm">Diameter of the widest way out; 0 for none; of a cup, no meaning.</param>
public sealed record Trap(TrapKind Kind, Vec3 AtMm, double VolumeMm3, double ThroatMm, IReadOnlyList<DrainProposal> Drains);

/// <summary>A narrow connection between two masses of material.</summary>
/// <param name="LighterMm3">Volume of the smaller side, as cut there.</param>
public sealed record Neck(Vec3 AtMm, double DiameterMm, double LighterMm3);

/// <summary>What is caught, and what may break off.</summary>
/// <param name="CellMm">Size of the cubes that throats and necks were looked for with. Their diameters are measured on the surface itself, from a point within half a cube of the best.</param>
public sealed record TrappedPlaces(IReadOnlyList<Trap> Traps, IReadOnlyList<Neck> Necks, double CellMm)
{
    private const string Step = "check-print";
    private const double MostCells = 3e7;
    private const double CellsAcross = 8;

    /// <summary>Finds closed voids, rooms behind narrow throats, cups and necks.</summary>
    /// <remarks>
    /// Closed voids: closed pieces of the surface that face inward; volume exact. Throats and necks: the model as cubes of an eighth of the limit (larger
    /// where that would be more than 30 million), opened by a ball of the limit (<see cref="Bottlenecks"/>). Cups: <see cref="Pools"/>, only for parts
    /// that hang in a vat. A trap smaller than a ball of twice the drain's diameter is left out, unless it is closed.
    /// Drains: through the thinnest wall; closed voids by <see cref="Drain"/> on the mesh itself, others bored in the cubes, and looked at again afterwards.
    /// Cost: O(cubes), about 4 s for 30 million on two cores; with closed voids the Booleans of <see cref="Drain"/> besides.
    /// Memory: 7 bytes a cube. Same result on any number of threads.
    /// </remarks>
    /// <param name="up">Away from the bed.</param>
    /// <param name="tryDrains">Bore the holes in a copy of the mesh; without it closed voids get places but no proof.</param>
    /// <exception cref="OperationCanceledException">Asked throughout.</exception>
    public static TrappedPlaces Find(Mesh mesh, TriangleTree tree, PrintProfile profile, Vec3 up, bool tryDrains, RunContext run)
    {
        var smallest = Math.Min(profile.DrainMm, profile.LeastNeckMm);
        run.Report(Step, "cubes", 0);
        var cell = SolidVoxels.CellFor(mesh, smallest / CellsAcross, MostCells);
        var voxels = SolidVoxels.Of(mesh, up, cell, run);
        var traps = new List<Trap>(ClosedVoids(mesh, tree, profile, tryDrains, run));
        if (profile.FillsVoids)
        {
            run.Report(Step, "throats", 0.3);
            traps.AddRange(Throats(voxels, tree, profile, run));
        }

        if (profile.HangsFromPlate)
        {
            run.Report(Step, "cups", 0.6);
            traps.AddRange(Cups(voxels, profile, run));
        }

        run.Report(Step, "necks", 0.8);
        return new(traps, Necking(voxels, tree, profile, run), cell);
    }

    private static double LeastMm3(PrintProfile profile) => Math.PI / 6 * Math.Pow(2 * profile.DrainMm, 3);

    private static (int Least2, int Reach) Limit(double diameterMm, double cellMm)
    {
        // From the middle of a cube to that of the nearest of the other kind is half a cube more than to the surface between them.
        var d = ((diameterMm / cellMm) + 1) / 2;
        var reach = Math.Min(Clearances.Farthest, (int)Math.Ceiling(d) + 1);
        return (Math.Max(2, Math.Min((int)Math.Ceiling(d * d), reach * reach)), reach);
    }

    /// <summary>Twice the distance to the surface from the best of 27 points within a cube, so that the grid's own coarseness does not count.</summary>
    private static double DiameterMm(SolidVoxels voxels, TriangleTree tree, int cell)
    {
        var (x, y, z) = (cell % voxels.Nx, cell / voxels.Nx % voxels.Ny, cell / voxels.Slice);
        var most = 0.0;
        for (var i = 0; i < 27; i++)
            most = Math.Max(most, tree.Nearest(voxels.At(x + (0.5 * ((i % 3) - 1)), y + (0.5 * ((i / 3 % 3) - 1)), z + (0.5 * ((i / 9) - 1)))).DistanceMm);
        return 2 * most;
    }

    private static IEnumerable<Trap> ClosedVoids(Mesh mesh, TriangleTree tree, PrintProfile profile, bool tryDrains, RunContext run)
    {
        var pieces = Pieces.Find(mesh, run);
        var voids = Enumerable.Range(0, pieces.All.Count).Where(p => pieces.All[p].FacesInward).ToArray();
        if (voids.Length == 0)
            return [];
        var places = VoidDrains.Propose(mesh, pieces, voids, profile, run);
        if (tryDrains)
            places = VoidDrains.Prove(mesh, places, profile, run);
        return voids.Select((p, i) => new Trap(TrapKind.ClosedVoid, VoidDrains.Middle(mesh, pieces, p), pieces.All[p].VolumeMm3, 0, places[i]))
            .OrderByDescending(t => t.VolumeMm3);
    }

    private static IEnumerable<Trap> Throats(SolidVoxels voxels, TriangleTree tree, PrintProfile profile, RunContext run)
    {
        var found = Air(voxels, voxels.Inside, profile, run);
        var throats = WayOut(found);
        var caught = Enumerable.Range(1, Math.Max(0, found.Rooms.Count - 1))
            .Where(r => throats[r] >= 0 && DiameterMm(voxels, tree, throats[r]) < profile.DrainMm && found.Rooms[r].Cells * voxels.CellMm3 >= LeastMm3(profile)).ToArray();
        if (caught.Length == 0)
            return [];
        var holes = caught.Select(r => Shortest(voxels, found, found.Rooms[r].AnyCell, profile.DrainMm)).ToArray();
        var bored = voxels.Inside;
        foreach (var hole in holes)
            if (hole is not null)
                bored = Bore(voxels, bored, hole);
        var after = Air(voxels, bored, profile, run);
        return caught.Select((r, i) => new Trap(
            TrapKind.NarrowThroat,
            voxels.At(found.Rooms[r].AnyCell),
            found.Rooms[r].Cells * voxels.CellMm3,
            DiameterMm(voxels, tree, throats[r]),
            holes[i] is { } hole ? [hole with { Opens = after.RoomOf[found.Rooms[r].AnyCell] == after.RoomOf[0] }] : []))
            .OrderByDescending(t => t.VolumeMm3);
    }

    private static Bottlenecks Air(SolidVoxels voxels, byte[] inside, PrintProfile profile, RunContext run)
    {
        var (least2, reach) = Limit(profile.DrainMm, voxels.CellMm);
        var clearance2 = Clearances.Of(inside, 0, voxels.Nx, voxels.Ny, voxels.Nz, reach, run);
        return Bottlenecks.Find(clearance2, voxels.Nx, voxels.Ny, least2, run);
    }

    /// <summary>Narrowest cube of the widest way from the outside, which is room 0, to every room; −1 where there is no way.</summary>
    private static int[] WayOut(Bottlenecks found)
    {
        var narrowest = new int[found.Rooms.Count];
        Array.Fill(narrowest, -1);
        var way = new int[narrowest.Length];
        if (way.Length == 0)
            return narrowest;
        way[0] = int.MaxValue;
        // A tree: as many rounds as it is deep at most.
        for (var changed = true; changed;)
        {
            changed = false;
            foreach (var s in found.Straits)
                if ((way[s.RoomA] > 0) != (way[s.RoomB] > 0))
                {
                    var (known, other) = way[s.RoomA] > 0 ? (s.RoomA, s.RoomB) : (s.RoomB, s.RoomA);
                    (way[other], narrowest[other]) = s.Clearance2 < way[known] ? (Math.Max(1, s.Clearance2), s.Cell) : (way[known], narrowest[known]);
                    changed = true;
                }
        }

        return narrowest;
    }

    /// <summary>The straight hole from a cube to the outside room through the least material, along one of 26 directions.</summary>
    private static DrainProposal? Shortest(SolidVoxels voxels, Bottlenecks found, int cell, double diameterMm)
    {
        var (x0, y0, z0) = (cell % voxels.Nx, cell / voxels.Nx % voxels.Ny, cell / voxels.Slice);
        DrainProposal? best = null;
        for (var i = 0; i < 27; i++)
        {
            var (dx, dy, dz) = ((i % 3) - 1, (i / 3 % 3) - 1, (i / 9) - 1);
            if (i == 13)
                continue;
            var length = Math.Sqrt((dx * dx) + (dy * dy) + (dz * dz)) * voxels.CellMm;
            var wall = 0.0;
            int x = x0, y = y0, z = z0;
            while (x >= 0 && y >= 0 && z >= 0 && x < voxels.Nx && y < voxels.Ny && z < voxels.Nz)
            {
                var at = (z * voxels.Slice) + (y * voxels.Nx) + x;
                wall += voxels.Inside[at] * length;
                if (wall > 0 && found.RoomOf[at] == found.RoomOf[0])
                {
                    if (best is null || wall < best.WallMm)
                        best = new(voxels.At(cell), voxels.At(x + (2 * dx), y + (2 * dy), z + (2 * dz)), diameterMm, wall, false);
                    break;
                }

                (x, y, z) = (x + dx, y + dy, z + dz);
            }
        }

        return best;
    }

    // Cubes beside the hole's wall would narrow it by up to one.
    private static byte[] Bore(SolidVoxels voxels, byte[] inside, DrainProposal hole) =>
        voxels.Bored(inside, hole.FromMm, hole.ToMm, (hole.DiameterMm / 2) + voxels.CellMm);

    private static IEnumerable<Trap> Cups(SolidVoxels voxels, PrintProfile profile, RunContext run)
    {
        var pools = Pools.Find(voxels, voxels.Inside, downward: true, LeastMm3(profile), run).Where(p => !p.Closed).ToArray();
        if (pools.Length == 0)
            return [];
        var down = (voxels.At(0, 0, 1) - voxels.At(0, 0, 0)).Normalized();
        var holes = pools.Select(p => Through(voxels, p.LowestMm, down, profile.DrainMm)).ToArray();
        var bored = voxels.Inside;
        foreach (var hole in holes)
            if (hole is not null)
                bored = Bore(voxels, bored, hole);
        var left = Pools.Find(voxels, bored, downward: true, 0, run);
        return pools.Select((p, i) => new Trap(
            TrapKind.Cup, p.LowestMm, p.VolumeMm3, 0,
            holes[i] is { } hole ? [hole with { Opens = left.Where(l => Vec3.Distance(l.LowestMm, p.LowestMm) < 2 * profile.DrainMm).Sum(l => l.VolumeMm3) < 0.1 * p.VolumeMm3 }] : []));
    }

    /// <summary>A hole along a direction from a cup's bottom until there is air again.</summary>
    private static DrainProposal? Through(SolidVoxels voxels, Vec3 from, Vec3 along, double diameterMm)
    {
        var (x, y, z) = voxels.Place(from);
        int cx = (int)Math.Round(x), cy = (int)Math.Round(y), cz = (int)Math.Round(z);
        var wall = 0;
        for (var up = cz + 1; up < voxels.Nz; up++)
        {
            if (voxels.Inside[(up * voxels.Slice) + (cy * voxels.Nx) + cx] != 0)
                wall++;
            else if (wall > 0)
                return new(from - (along * voxels.CellMm), voxels.At(cx, cy, up + 1), diameterMm, wall * voxels.CellMm, false);
        }

        return null;
    }

    private static List<Neck> Necking(SolidVoxels voxels, TriangleTree tree, PrintProfile profile, RunContext run)
    {
        // A side lighter than a ball of three necks is a bump and no mass.
        var leastCells = Math.PI / 6 * Math.Pow(3 * profile.LeastNeckMm, 3) / voxels.CellMm3;
        var (least2, reach) = Limit(profile.LeastNeckMm, voxels.CellMm);
        var clearance2 = Clearances.Of(voxels.Inside, 1, voxels.Nx, voxels.Ny, voxels.Nz, reach, run);
        var found = Bottlenecks.Find(clearance2, voxels.Nx, voxels.Ny, least2, run);
        var group = Enumerable.Range(0, found.Rooms.Count).ToArray();
        var cells = found.Rooms.Select(r => r.Cells).ToArray();
        int Root(int r)
        {
            while (group[r] != r)
                r = group[r] = group[group[r]];
            return r;
        }

        var necks = new List<Neck>();
        foreach (var s in found.Straits)
        {
            int a = Root(s.RoomA), b = Root(s.RoomB);
            var lighter = Math.Min(cells[a], cells[b]);
            if (lighter >= leastCells && DiameterMm(voxels, tree, s.Cell) is var diameter && diameter < profile.LeastNeckMm)
                necks.Add(new(voxels.At(s.Cell), diameter, lighter * voxels.CellMm3));
            (group[Math.Max(a, b)], cells[Math.Min(a, b)]) = (Math.Min(a, b), cells[a] + cells[b]);
        }

        return [.. necks.OrderBy(n => n.DiameterMm).ThenByDescending(n => n.LighterMm3)];
    }
}
