using System.Numerics;
using System.Runtime.CompilerServices;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Meshing.Surface;

/// <summary>Places the vertices of one slice of grid edges, row after row; what decides where is told in <see cref="FlyingEdges"/>.</summary>
/// <remarks>
/// Away from the border of the images and with one level everywhere, positions come from terms made once a row. They are the
/// terms of <see cref="IndexToPatient.Map"/> in its order of additions, so both ways give the same bits; the tests hold them together.
/// </remarks>
internal unsafe struct VertexPlacer
{
    private readonly Volume _volume;
    private readonly Region _region;
    private readonly Vec3 _originMm;
    private readonly Vec3 _columnStepMm;
    private readonly Vec3 _rowStepMm;
    private readonly int _slice;
    private readonly float* _positions;
    private readonly Origin* _placedBy;
    private readonly double _clearX;
    private readonly double _clearY;
    private readonly double _clearZ;
    private readonly int _lowerHu;
    private readonly int _upperHu;
    private readonly bool _plainSlice;

    // The slice's own origin; and that of the interval the z edges run in, with its step and number.
    private readonly Vec3 _sliceMm;
    private readonly Vec3 _belowMm;
    private readonly Vec3 _stepMm;
    private readonly int _below;

    private int _row;
    private int _vertex;
    private short* _samples;
    private bool _plainRow;
    private bool _plainNextRow;
    private Vec3 _rowMm;
    private Origin _strongest;

    public VertexPlacer(Volume volume, Region region, Vec3 originMm, int slice, float* positions, Origin* placedBy)
    {
        var map = volume.Map;
        (_volume, _region, _originMm, _slice) = (volume, region, originMm, slice);
        _positions = positions;
        _placedBy = placedBy;
        (_columnStepMm, _rowStepMm) = (map.ColumnStepMm, map.RowStepMm);
        _clearX = Clearance(_columnStepMm.Length);
        _clearY = Clearance(_rowStepMm.Length);
        _clearZ = Clearance(map.SliceStepMm(slice).Length);
        (_lowerHu, _upperHu) = (region.Window.LowerHu, region.Window.UpperHu);
        _plainSlice = region.Levels is null && slice >= 0 && slice < volume.Slices;
        _sliceMm = map.Map(0, 0, Math.Clamp(slice, 0, volume.Slices - 1));
        _below = Math.Clamp(slice, 0, Math.Max(0, volume.Slices - 2));
        _belowMm = map.SliceOriginsMm[_below];
        _stepMm = map.SliceStepMm(_below);
    }

    /// <summary>How many vertices were moved to keep their clearance.</summary>
    public long Moved { get; private set; }

    /// <summary>Whether grey values placed every vertex so far.</summary>
    public readonly bool AllMeasured => _strongest == Origin.Measured;

    /// <summary>The next vertices are those of this row, from this number on: first along x, then y, then z.</summary>
    public void StartRow(int row, int firstVertex)
    {
        _row = row;
        _vertex = firstVertex;
        _plainRow = _plainSlice && row >= 0 && row < _volume.Rows;
        _plainNextRow = _plainRow && row + 1 < _volume.Rows;
        _rowMm = _rowStepMm * row;
        _samples = _plainRow ? _volume.Samples + ((((long)_slice * _volume.Rows) + row) * _volume.Columns) : null;
    }

    /// <summary>Vertices between a sample and the next of the row; bit b of the words belongs to column <paramref name="first"/> + b.</summary>
    public void PlaceAlongX(ulong crossings, ulong inside, int first)
    {
        for (; crossings != 0; crossings &= crossings - 1)
        {
            var bit = BitOperations.TrailingZeroCount(crossings);
            var i = first + bit;
            var lowInside = (uint)(inside >> bit) & 1;
            if (!_plainRow || i < 0 || i + 1 >= _volume.Columns)
            {
                PlaceAnywhere(i, 0, lowInside != 0, _clearX);
                continue;
            }

            var t = Fraction(_samples[i], _samples[i + 1], lowInside, _clearX);
            Write(_sliceMm + (_columnStepMm * (i + t)) + _rowMm);
        }
    }

    /// <summary>Vertices between a sample and the one of the next row.</summary>
    public void PlaceAlongY(ulong crossings, ulong inside, int first)
    {
        for (; crossings != 0; crossings &= crossings - 1)
        {
            var bit = BitOperations.TrailingZeroCount(crossings);
            var i = first + bit;
            var lowInside = (uint)(inside >> bit) & 1;
            if (!_plainNextRow || (uint)i >= (uint)_volume.Columns)
            {
                PlaceAnywhere(i, 1, lowInside != 0, _clearY);
                continue;
            }

            var t = Fraction(_samples[i], _samples[i + _volume.Columns], lowInside, _clearY);
            Write(_sliceMm + (_columnStepMm * i) + (_rowStepMm * (_row + t)));
        }
    }

    /// <summary>Vertices between a sample and the one of the next slice.</summary>
    public void PlaceAlongZ(ulong crossings, ulong inside, int first)
    {
        var nextSlice = _samples + ((long)_volume.Rows * _volume.Columns);
        for (; crossings != 0; crossings &= crossings - 1)
        {
            var bit = BitOperations.TrailingZeroCount(crossings);
            var i = first + bit;
            var lowInside = (uint)(inside >> bit) & 1;
            if (!_plainRow || _slice + 1 >= _volume.Slices || (uint)i >= (uint)_volume.Columns)
            {
                PlaceAnywhere(i, 2, lowInside != 0, _clearZ);
                continue;
            }

            var t = Fraction(_samples[i], nextSlice[i], lowInside, _clearZ);
            Write(_belowMm + (_stepMm * (_slice + t - _below)) + (_columnStepMm * i) + _rowMm);
        }
    }

    private static double Clearance(double edgeMm) => Math.Min(0.25, FlyingEdges.ClearanceMm / edgeMm);

    // Any grid edge of any region: near the border of the images, and where the level differs from place to place.
    private void PlaceAnywhere(int i, int axis, bool lowIsInside, double clear)
    {
        int di = axis == 0 ? 1 : 0, dj = axis == 1 ? 1 : 0, dk = axis == 2 ? 1 : 0;
        int j = _row, k = _slice;
        var (fromInside, by) = lowIsInside
            ? CrossingAnywhere(i, j, k, i + di, j + dj, k + dk)
            : CrossingAnywhere(i + di, j + dj, k + dk, i, j, k);
        fromInside = Clear(fromInside, by, clear);
        var t = lowIsInside ? fromInside : 1 - fromInside;
        Write(_volume.Map.Map(i + (di * t), j + (dj * t), k + (dk * t)));
    }

    // Beyond the images there is nothing: the vertex lies on the outermost sample.
    private readonly (double FromInside, Origin By) CrossingAnywhere(int i, int j, int k, int oi, int oj, int ok)
    {
        if ((uint)oi >= (uint)_volume.Columns || (uint)oj >= (uint)_volume.Rows || (uint)ok >= (uint)_volume.Slices)
            return (0, Origin.Cut);
        return Crossing(Sample(i, j, k), Sample(oi, oj, ok), _region.LowerHu(i, j, k), _region.LowerHu(oi, oj, ok));
    }

    private readonly short Sample(int i, int j, int k) => _volume.Samples[((((long)k * _volume.Rows) + j) * _volume.Columns) + i];

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private double Fraction(short low, short high, uint lowInside, double clear)
    {
        // Which end is inside follows no pattern, so it is chosen by arithmetic: a wrong guess of a branch costs more than all the rest.
        var mask = -(int)lowInside;
        var swap = (low ^ high) & mask;
        var (fromInside, by) = Crossing(high ^ swap, low ^ swap, _lowerHu, _lowerHu);
        fromInside = Clear(fromInside, by, clear);
        var sign = (2 * (int)lowInside) - 1;
        return (1 - lowInside) + (sign * fromInside);
    }

    // Fraction of the way from the inside sample to the outside one, and what decided it.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private readonly (double FromInside, Origin By) Crossing(int inside, int outside, int insideLowerHu, int outsideLowerHu)
    {
        var below = outsideLowerHu - outside;
        if (below > 0)
        {
            var above = inside - insideLowerHu;
            return above >= 0 ? (above / (double)(above + below), Origin.Measured) : (0.5, Origin.Filled);
        }

        if (outside <= _upperHu)
            return (0.5, Origin.Cut);
        return inside <= _upperHu ? ((_upperHu - inside) / (double)(outside - inside), Origin.Measured) : (0.5, Origin.Filled);
    }

    // Notes what placed the vertex and keeps it clear of both samples.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private double Clear(double fromInside, Origin by, double clear)
    {
        _placedBy[_vertex] = by;
        _strongest |= by;
        if (fromInside >= clear && fromInside <= 1 - clear)
            return fromInside;
        Moved++;
        return Math.Clamp(fromInside, clear, 1 - clear);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void Write(Vec3 mm)
    {
        var at = _positions + (3L * _vertex++);
        at[0] = (float)(mm.X - _originMm.X);
        at[1] = (float)(mm.Y - _originMm.Y);
        at[2] = (float)(mm.Z - _originMm.Z);
    }
}
