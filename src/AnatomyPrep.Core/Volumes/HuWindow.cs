namespace AnatomyPrep.Core.Volumes;

/// <summary>HU from <paramref name="LowerHu"/> to <paramref name="UpperHu"/>, both inside; the two levels also place the surface.</summary>
public readonly record struct HuWindow(short LowerHu, short UpperHu)
{
    public bool Contains(short hu) => hu >= LowerHu && hu <= UpperHu;
}
