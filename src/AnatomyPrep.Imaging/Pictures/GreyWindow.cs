namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Which HU are black and which white; linear between.</summary>
/// <remarks>The two presets are common practice, no source; they only set how a picture looks.</remarks>
public sealed record GreyWindow(string Name, double CenterHu, double WidthHu)
{
    public static GreyWindow Bone { get; } = new("bone", 500, 2000);

    public static GreyWindow Soft { get; } = new("soft tissue", 40, 400);

    /// <summary>0 at and below the lower end, 255 at and above the upper, rounded to the nearest between.</summary>
    public byte Grey(double hu) => (byte)Math.Clamp(Math.Round(((hu - CenterHu) / WidthHu * 255) + 127.5), 0, 255);
}
