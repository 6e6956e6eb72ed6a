using System.Buffers;
using OpenCvSharp;

namespace AnatomyPrep.Imaging.Volumes;

/// <summary>Median of int16 samples over a box; the outermost samples repeat beyond the border.</summary>
/// <remarks>
/// Method: boxes of 3 × 3 and 5 × 5 by OpenCV, whose sorting network takes signed 16-bit samples as they are; every
/// other box, which OpenCV offers for 8 bits only, by a sliding histogram: Huang, Yang, Tang, "A fast two-dimensional
/// median filtering algorithm", IEEE Trans. Acoustics, Speech, Signal Processing 27(1), 1979. Differs: 65,536 counts
/// with one coarse count for every 256 of them, so that the search for the middle steps over empty stretches.
/// Both are exact, so both give the same bytes. Cost: O(rows × columns × kernel rows); scratch 263 kB a thread.
/// </remarks>
internal static unsafe class MedianFilter
{
    private const int Values = 1 << 16;
    private const int Coarse = 1 << 8;

    internal static void Apply(short* from, short* to, int columns, int rows, int halfColumns, int halfRows)
    {
        if (halfColumns == 0 && halfRows == 0)
        {
            Buffer.MemoryCopy(from, to, (long)columns * rows * sizeof(short), (long)columns * rows * sizeof(short));
        }
        else if (halfColumns == halfRows && halfColumns <= 2)
        {
            using var source = Mat.FromPixelData(rows, columns, MatType.CV_16SC1, (nint)from);
            using var result = Mat.FromPixelData(rows, columns, MatType.CV_16SC1, (nint)to);
            Cv2.MedianBlur(source, result, (2 * halfColumns) + 1);
        }
        else
        {
            BySlidingHistogram(from, to, columns, rows, halfColumns, halfRows);
        }
    }

    internal static void BySlidingHistogram(short* from, short* to, int columns, int rows, int halfColumns, int halfRows)
    {
        var counts = ArrayPool<int>.Shared.Rent(Values + Coarse);
        try
        {
            counts.AsSpan(0, Values + Coarse).Clear();
            fixed (int* fine = counts)
            {
                var window = new Window(from, columns, rows, halfColumns, halfRows, fine);
                for (var row = 0; row < rows; row++)
                {
                    window.StartRow(row);
                    var line = to + ((long)row * columns);
                    line[0] = window.Median();
                    for (var column = 1; column < columns; column++)
                    {
                        window.Remove(column - 1 - halfColumns);
                        window.Add(column + halfColumns);
                        line[column] = window.Median();
                    }

                    window.EndRow();
                }
            }
        }
        finally
        {
            ArrayPool<int>.Shared.Return(counts);
        }
    }

    /// <summary>Counts of the values under the box, and the middle one, kept up to date from one sample to the next.</summary>
    private struct Window(short* from, int columns, int rows, int halfColumns, int halfRows, int* fine)
    {
        private readonly int* _coarse = fine + Values;
        private readonly int _rank = (int)((((2L * halfColumns) + 1) * ((2L * halfRows) + 1)) / 2);
        private int _row;
        private int _middle;
        private int _below; // samples under the box that are smaller than _middle

        public void StartRow(int row)
        {
            _row = row;
            for (var column = -halfColumns; column <= halfColumns; column++)
                Add(column);
        }

        public void EndRow()
        {
            for (var column = columns - 1 - halfColumns; column <= columns - 1 + halfColumns; column++)
                Remove(column);
        }

        public void Add(int column) => Count(column, 1);

        public void Remove(int column) => Count(column, -1);

        public short Median()
        {
            while (_below > _rank)
            {
                if ((_middle & 255) == 0 && _below - _coarse[(_middle >> 8) - 1] > _rank)
                {
                    _middle -= 256;
                    _below -= _coarse[_middle >> 8];
                }
                else
                {
                    _below -= fine[--_middle];
                }
            }

            while (_below + fine[_middle] <= _rank)
            {
                if ((_middle & 255) == 0 && _below + _coarse[_middle >> 8] <= _rank)
                {
                    _below += _coarse[_middle >> 8];
                    _middle += 256;
                }
                else
                {
                    _below += fine[_middle++];
                }
            }

            return (short)(_middle + short.MinValue);
        }

        private void Count(int column, int by)
        {
            var at = from + Math.Clamp(column, 0, columns - 1);
            for (var row = _row - halfRows; row <= _row + halfRows; row++)
            {
                var value = at[(long)Math.Clamp(row, 0, rows - 1) * columns] - short.MinValue;
                fine[value] += by;
                _coarse[value >> 8] += by;
                if (value < _middle)
                    _below += by;
            }
        }
    }
}
