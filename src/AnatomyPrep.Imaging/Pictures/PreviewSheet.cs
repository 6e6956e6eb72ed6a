namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A drawn sheet and where its views are.</summary>
internal sealed record PreviewSheet(Canvas Canvas, double PixelsPerMm, IReadOnlyList<PreviewPanel> Panels) : IDisposable
{
    public void Dispose() => Canvas.Dispose();
}

/// <summary>One view on the sheet, in pixels of the sheet; its frame has twice as many.</summary>
internal sealed record PreviewPanel(ViewFrame Frame, int Left, int Top, int Width, int Height);
