using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Liquid that cannot run out of a standing solid.</summary>
/// <param name="VolumeMm3">Up to where it would spill; of a closed void all of it.</param>
/// <param name="LowestMm">Its deepest place.</param>
/// <param name="Closed">There is no opening at all.</param>
internal sealed record Pool(double VolumeMm3, Vec3 LowestMm, bool Closed);

/// <summary>Where liquid stays in a solid that stands upright.</summary>
/// <remarks>
/// A cube of air drains when it hangs together with the outside through cubes that are no higher than itself, as communicating vessels do.
/// Layers are added from the bottom up; in each, rows of air are joined with those beside and below (union-find); what is not joined with the
/// outside when its own layer is done keeps its liquid. O(rows of air) on one thread; 16 bytes a row of air, of which there are a few per row of cubes.
/// </remarks>
internal static class Pools
{
    /// <param name="downward">Highest layer first: the solid hangs upside down.</param>
    /// <returns>Largest first.</returns>
    public static IReadOnlyList<Pool> Find(SolidVoxels voxels, byte[] inside, bool downward, double leastMm3, RunContext run)
    {
        var rows = new Rows(voxels, inside, downward);
        rows.Flood(run);
        return [.. rows.Pools().Where(p => p.VolumeMm3 >= leastMm3).OrderByDescending(p => p.VolumeMm3).ThenBy(p => p.LowestMm.X).ThenBy(p => p.LowestMm.Y)];
    }

    private sealed class Rows(SolidVoxels voxels, byte[] inside, bool downward)
    {
        private readonly List<(int From, int End, int Y, int Layer)> _rows = [];
        private readonly List<int> _parent = [];
        private readonly List<bool> _outside = [];
        private readonly List<bool> _stays = [];

        // First row of every line of the layer, of this and of the layer before.
        private int[] _line = new int[voxels.Ny + 1];
        private int[] _lineBelow = new int[voxels.Ny + 1];
        private readonly List<(int A, int B)> _touching = [];

        public void Flood(RunContext run)
        {
            for (var layer = 0; layer < voxels.Nz; layer++)
            {
                run.ThrowIfCancelled();
                (_line, _lineBelow) = (_lineBelow, _line);
                var z = downward ? voxels.Nz - 1 - layer : layer;
                var first = _rows.Count;
                for (var y = 0; y < voxels.Ny; y++)
                {
                    _line[y] = _rows.Count;
                    Add(z, y, layer);
                    if (y > 0)
                        Touch(_line[y - 1], _line[y], _line[y], _rows.Count);
                    if (layer > 0)
                        Touch(_lineBelow[y], _lineBelow[y + 1], _line[y], _rows.Count);
                }

                _line[voxels.Ny] = _rows.Count;
                for (var r = first; r < _rows.Count; r++)
                    _stays[r] = !_outside[Root(_parent, r)];
            }
        }

        public IEnumerable<Pool> Pools()
        {
            var group = Enumerable.Range(0, _rows.Count).ToList();
            foreach (var (a, b) in _touching)
                if (_stays[a] && _stays[b])
                    Join(group, a, b);
            var found = new SortedDictionary<int, (long Cells, int Lowest)>();
            for (var r = 0; r < _rows.Count; r++)
            {
                if (!_stays[r])
                    continue;
                var root = Root(group, r);
                var (cells, lowest) = found.GetValueOrDefault(root, (0, r));
                if (_rows[r].Layer == _rows[lowest].Layer && Length(r) > Length(lowest))
                    lowest = r;
                found[root] = (cells + Length(r), lowest);
            }

            foreach (var (cells, lowest) in found.Values)
            {
                var (from, end, y, layer) = _rows[lowest];
                yield return new(cells * voxels.CellMm3, voxels.At((from + end - 1) / 2.0, y, downward ? voxels.Nz - 1 - layer : layer), !_outside[Root(_parent, lowest)]);
            }
        }

        private int Length(int r) => _rows[r].End - _rows[r].From;

        private void Add(int z, int y, int layer)
        {
            var start = (z * voxels.Slice) + (y * voxels.Nx);
            for (var x = 0; x < voxels.Nx; x++)
            {
                if (inside[start + x] != 0)
                    continue;
                var from = x;
                while (x < voxels.Nx && inside[start + x] == 0)
                    x++;
                _parent.Add(_rows.Count);
                _rows.Add((from, x, y, layer));
                _outside.Add(from == 0 || x == voxels.Nx || y == 0 || y == voxels.Ny - 1);
                _stays.Add(false);
            }
        }

        /// <summary>Joins rows of two lines that lie beside each other.</summary>
        private void Touch(int a, int aEnd, int b, int bEnd)
        {
            while (a < aEnd && b < bEnd)
            {
                if (_rows[a].From < _rows[b].End && _rows[b].From < _rows[a].End)
                {
                    var outside = _outside[Root(_parent, a)] || _outside[Root(_parent, b)];
                    _outside[Join(_parent, a, b)] = outside;
                    _touching.Add((a, b));
                }

                if (_rows[a].End < _rows[b].End)
                    a++;
                else
                    b++;
            }
        }

        private static int Join(List<int> parent, int a, int b)
        {
            int x = Root(parent, a), y = Root(parent, b);
            parent[Math.Max(x, y)] = Math.Min(x, y);
            return Math.Min(x, y);
        }

        private static int Root(List<int> parent, int r)
        {
            while (parent[r] != r)
                r = parent[r] = parent[parent[r]];
            return r;
        }
    }
}
