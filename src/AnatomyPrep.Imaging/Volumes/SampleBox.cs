namespace AnatomyPrep.Imaging.Volumes;

/// <summary>A block of samples: first column, row and slice, counted from 0, and how many of each.</summary>
public readonly record struct SampleBox(int FirstColumn, int FirstRow, int FirstSlice, int Columns, int Rows, int Slices)
{
    public override string ToString() => FormattableString.Invariant(
        $"columns {FirstColumn}-{FirstColumn + Columns - 1}, rows {FirstRow}-{FirstRow + Rows - 1}, slices {FirstSlice}-{FirstSlice + Slices - 1}");
}
