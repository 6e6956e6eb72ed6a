using System.Buffers;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Sampling;

/// <summary>Values of one slice of a scene.</summary>
/// <remarks>
/// Method: the slice is cut into blocks of 64 × 64 samples, each block into quarters down to 4 × 4. A distance changes by
/// at most the way moved, so at a block's centre it settles which layers can reach the block at all, which one covers it
/// whole, and which parts of a solid matter there; only what is left is asked in the quarters, and at last at the
/// samples. Bit for bit the values of <see cref="Scene.HuAt"/> at every sample. Shapes: [rows][columns].
/// Cost: near edges one or two solids a sample, elsewhere next to nothing. Memory: one slice of doubles, rented.
/// </remarks>
internal sealed class SliceSampler
{
    private const int LargestBlock = 64, SmallestBlock = 4;
    private readonly Scene _scene;
    private readonly Acquisition _acquisition;
    private readonly SliceGeometry _geometry;
    private readonly StoredFormat _format;
    private readonly Vec3[] _subsamplesMm;
    private readonly double _voxelReachMm;

    internal SliceSampler(Scene scene, Acquisition acquisition, SliceGeometry geometry, StoredFormat format)
    {
        (_scene, _acquisition, _geometry, _format) = (scene, acquisition, geometry, format);
        _subsamplesMm = Subsamples(acquisition.SubsamplesPerAxis, geometry, acquisition.SliceThicknessMm);
        _voxelReachMm = _subsamplesMm.Max(s => s.Length);
    }

    /// <summary>Stored values of slice k, noise, rounding, clipping and padding included.</summary>
    internal void Stored(int slice, Span<int> stored)
    {
        var rented = ArrayPool<double>.Shared.Rent(stored.Length);
        try
        {
            var hu = rented.AsSpan(0, stored.Length);
            IdealHu(slice, hu);
            if (_acquisition.NoiseSigmaHu > 0)
                GaussianNoise.AddTo(hu, _acquisition.NoiseSigmaHu, _acquisition.Seed, slice);
            var rescale = _format.Of(slice);
            for (var i = 0; i < hu.Length; i++)
                stored[i] = (int)Math.Clamp(Math.Round((hu[i] - rescale.InterceptHu) / rescale.Slope), _format.Lowest, _format.Highest);
        }
        finally
        {
            ArrayPool<double>.Shared.Return(rented);
        }

        if (_acquisition.CircleRadiusMm is { } radius)
            Pad(stored, radius);
    }

    /// <summary>Noise-free values of slice k.</summary>
    internal void IdealHu(int slice, Span<double> hu)
    {
        for (var row = 0; row < _acquisition.Rows; row += LargestBlock)
            for (var column = 0; column < _acquisition.Columns; column += LargestBlock)
                Paint(new Block(slice, row, column, LargestBlock), _scene.BackgroundHu, _scene.Layers, hu);
    }

    private static Vec3[] Subsamples(int n, SliceGeometry geometry, double thicknessMm)
    {
        var points = new Vec3[n * n * n];
        double Part(int i) => ((i + 0.5) / n) - 0.5;
        for (int k = 0, at = 0; k < n; k++)
            for (var j = 0; j < n; j++)
                for (var i = 0; i < n; i++, at++)
                    points[at] = (geometry.Map.ColumnStepMm * Part(i)) + (geometry.Map.RowStepMm * Part(j)) + (geometry.Map.Normal * (thicknessMm * Part(k)));
        return points;
    }

    private void Paint(Block block, double baseHu, IReadOnlyList<Layer> layers, Span<double> hu)
    {
        if (block.Row >= _acquisition.Rows || block.Column >= _acquisition.Columns)
            return;
        (baseHu, var within) = LayersWithin(block, baseHu, layers);
        if (within.Count == 0 || block.Size == SmallestBlock)
        {
            PaintSamples(block, baseHu, within, hu);
            return;
        }

        var half = block.Size / 2;
        for (var quarter = 0; quarter < 4; quarter++)
            Paint(block with { Row = block.Row + ((quarter >> 1) * half), Column = block.Column + ((quarter & 1) * half), Size = half }, baseHu, within, hu);
    }

    private void PaintSamples(Block block, double baseHu, List<Layer> layers, Span<double> hu)
    {
        int rowEnd = Math.Min(block.Row + block.Size, _acquisition.Rows), columnEnd = Math.Min(block.Column + block.Size, _acquisition.Columns);
        for (var row = block.Row; row < rowEnd; row++)
        {
            var line = hu.Slice(row * _acquisition.Columns, _acquisition.Columns);
            if (layers.Count == 0)
                line[block.Column..columnEnd].Fill(baseHu);
            else
                for (var column = block.Column; column < columnEnd; column++)
                    line[column] = Sample(_geometry.Map.Map(column, row, block.Slice), baseHu, layers);
        }
    }

    private double Sample(Vec3 pointMm, double baseHu, List<Layer> layers)
    {
        double sum = 0;
        foreach (var shift in _subsamplesMm)
        {
            var hu = baseHu;
            foreach (var layer in layers)
                hu = Scene.Paint(hu, layer, pointMm + shift, _scene.RampHalfWidthMm);
            sum += hu;
        }

        return sum / _subsamplesMm.Length;
    }

    /// <summary>What is under everything in the block, and the layers that vary within it, lowest first.</summary>
    private (double BaseHu, List<Layer> Layers) LayersWithin(Block block, double baseHu, IReadOnlyList<Layer> layers)
    {
        var half = (block.Size - 1) / 2.0;
        var map = _geometry.Map;
        var center = map.Map(block.Column + half, block.Row + half, block.Slice);
        // Rows and columns are at a right angle, so every corner is as far from the centre.
        var reach = ((map.ColumnStepMm + map.RowStepMm) * half).Length + _voxelReachMm + Lipschitz.RoundingMm;
        var within = new List<Layer>();
        for (var i = layers.Count - 1; i >= 0; i--)
        {
            var layer = layers[i];
            var distance = layer.Solid.DistanceMm(center, reach, out var part);
            if (distance > reach + _scene.RampHalfWidthMm)
                continue;
            if (distance < -reach - _scene.RampHalfWidthMm && Ramp.Peak(_scene.RampHalfWidthMm, layer.ThinnestMm) >= 1)
            {
                baseHu = layer.InsideHu;
                break;
            }

            within.Add(layer with { Solid = part });
        }

        within.Reverse();
        return (baseHu, within);
    }

    private void Pad(Span<int> stored, double radiusMm)
    {
        double middleColumn = (_acquisition.Columns - 1) / 2.0, middleRow = (_acquisition.Rows - 1) / 2.0;
        for (var row = 0; row < _acquisition.Rows; row++)
            for (var column = 0; column < _acquisition.Columns; column++)
            {
                double x = (column - middleColumn) * _geometry.ColumnSpacingMm, y = (row - middleRow) * _geometry.RowSpacingMm;
                if ((x * x) + (y * y) > radiusMm * radiusMm)
                    stored[(row * _acquisition.Columns) + column] = _format.Padding;
            }
    }

    /// <summary>A square of samples; parts beyond the picture are left out when painted.</summary>
    private readonly record struct Block(int Slice, int Row, int Column, int Size);
}
