using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.App.Cli;

/// <summary>One open rim of a mesh, as check lists it.</summary>
/// <param name="Number">What a fill-holes step names it by.</param>
/// <param name="FlatAreaMm2">Area of a flat fill.</param>
/// <param name="IsOuterBorder">The rim of an open sheet rather than a hole in it.</param>
/// <param name="CanBeFilled">False for a rim that breaks off at a fault.</param>
internal sealed record HoleFacts(int Number, int Edges, double LengthMm, double DiameterMm, double FlatAreaMm2, Vec3 CenterMm, bool IsOuterBorder, bool CanBeFilled)
{
    public static IReadOnlyList<HoleFacts> Of(Mesh mesh, RunContext run) =>
        [.. BoundaryLoops.Find(mesh, run).Select(l => new HoleFacts(l.Id, l.EdgeCount, l.LengthMm, l.DiameterMm, l.FlatAreaMm2, l.CenterMm, l.IsOuterBorder, l.IsClosed))];
}
