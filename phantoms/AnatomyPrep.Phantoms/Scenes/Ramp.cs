namespace AnatomyPrep.Phantoms.Scenes;

/// <summary>The edge between two materials: HU run straight from one value to the other across a width of 2W.</summary>
/// <remarks>
/// Share of the inner material at signed distance d: clamp(1/2 − d / 2W, 0, 1). So the surface at any HU between the two
/// is the parallel surface at d = W (1 − 2f), f = (HU − outside) / (inside − outside), whatever the shape. A plate of
/// thickness t &lt; 2W is the same edge blurred over the plate: the share stops at t / 2W, and the surface at an HU above
/// that is gone; below it the formula holds unchanged. docs/methods/phantoms.md, section 2.
/// </remarks>
public static class Ramp
{
    /// <summary>Share of the inner material, 0 to 1. A half width of 0 is a step.</summary>
    public static double Share(double distanceMm, double halfWidthMm, double thinnestMm)
    {
        if (halfWidthMm == 0)
            return distanceMm <= 0 ? 1 : 0;
        var share = Math.Clamp(0.5 - (distanceMm / (2 * halfWidthMm)), 0, 1);
        return Math.Min(share, Peak(halfWidthMm, thinnestMm));
    }

    /// <summary>The largest share that a solid of that thickness reaches.</summary>
    public static double Peak(double halfWidthMm, double thinnestMm) => thinnestMm >= 2 * halfWidthMm ? 1 : thinnestMm / (2 * halfWidthMm);

    /// <summary>Signed distance at which the edge passes a value strictly between the two; positive outside the solid.</summary>
    public static double OffsetMm(double hu, double insideHu, double outsideHu, double halfWidthMm) =>
        halfWidthMm * (1 - (2 * (hu - outsideHu) / (insideHu - outsideHu)));
}
