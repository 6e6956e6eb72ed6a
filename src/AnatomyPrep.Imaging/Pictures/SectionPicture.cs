namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A drawn section: the frame lies at (<paramref name="Left"/>, <paramref name="Top"/>) on the canvas.</summary>
internal sealed record SectionPicture(Canvas Canvas, SectionFrame Frame, int Left, int Top, IReadOnlyList<SectionCurve> Curves) : IDisposable
{
    public void Dispose() => Canvas.Dispose();
}
