using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>A room of air, or a mass of material, that a ball of the asked size can move in.</summary>
/// <param name="Cells">Cubes that belong to it, with those around where the ball does not fit.</param>
/// <param name="CoreCells">Cubes that the ball's middle reaches.</param>
/// <param name="AnyCell">One of its cubes with the most room around.</param>
/// <param name="FirstCell">Its first cube.</param>
internal sealed record Room(long Cells, long CoreCells, int AnyCell, int FirstCell);

/// <summary>The widest way between two rooms.</summary>
/// <param name="Clearance2">Squared clearance there, in cubes.</param>
internal sealed record Strait(int RoomA, int RoomB, int Cell, int Clearance2);

/// <summary>Rooms and the straits between them.</summary>
/// <param name="RoomOf">Number of the room of every cube, −1 for none.</param>
internal sealed record Bottlenecks(IReadOnlyList<Room> Rooms, IReadOnlyList<Strait> Straits, int[] RoomOf)
{
    /// <remarks>
    /// Cores: connected cubes whose clearance is at least the asked one (a morphological opening). The others are given to a core
    /// from the widest to the narrowest (flooding from markers, F. Meyer, 1991; from memory), so that two rooms meet in the narrowest place between them; its cube with the most room is the strait.
    /// Of the straits a spanning forest of the widest is kept (J. Kruskal, 1956), so that between two rooms the widest way counts.
    /// O(cubes) on one thread; memory 8 bytes a cube.
    /// </remarks>
    /// <param name="clearance2">Squared clearance of every cube, 0 for the other kind.</param>
    /// <param name="least2">A core has at least this.</param>
    public static Bottlenecks Find(byte[] clearance2, int nx, int ny, int least2, RunContext run)
    {
        var roomOf = new int[clearance2.Length];
        Array.Fill(roomOf, -1);
        Span<int> steps = [-1, 1, -nx, nx, -nx * ny, nx * ny];
        var (rooms, front) = Cores(clearance2, roomOf, steps, least2, run);
        var straits = Grow(clearance2, roomOf, steps, front, rooms, run);
        return new(
            [.. rooms.Select(r => new Room(r.Cells, r.Core, r.Any, r.First))],
            Widest(straits, rooms.Count),
            roomOf);
    }

    private static (List<Tally> Rooms, List<int> Front) Cores(byte[] clearance2, int[] roomOf, ReadOnlySpan<int> steps, int least2, RunContext run)
    {
        var rooms = new List<Tally>();
        var front = new List<int>();
        var open = new Stack<int>();
        for (var start = 0; start < clearance2.Length; start++)
        {
            if (clearance2[start] < least2 || roomOf[start] >= 0)
                continue;
            run.ThrowIfCancelled();
            var room = new Tally { First = start, Any = start };
            roomOf[start] = rooms.Count;
            open.Push(start);
            while (open.TryPop(out var cell))
            {
                room.Core++;
                if (clearance2[cell] > clearance2[room.Any] || (clearance2[cell] == clearance2[room.Any] && cell < room.Any))
                    room.Any = cell;
                var atRim = false;
                foreach (var step in steps)
                {
                    var next = cell + step;
                    if ((uint)next >= (uint)clearance2.Length || clearance2[next] == 0)
                        continue;
                    if (clearance2[next] < least2)
                        atRim = true;
                    else if (roomOf[next] < 0)
                    {
                        roomOf[next] = rooms.Count;
                        open.Push(next);
                    }
                }

                if (atRim)
                    front.Add(cell);
            }

            room.Cells = room.Core;
            rooms.Add(room);
        }

        front.Sort();
        return (rooms, front);
    }

    private static Dictionary<(int, int), (int Cell, int Clearance2)> Grow(byte[] clearance2, int[] roomOf, ReadOnlySpan<int> steps, List<int> front, List<Tally> rooms, RunContext run)
    {
        var straits = new Dictionary<(int, int), (int Cell, int Clearance2)>();
        var waiting = new Queue<int>[byte.MaxValue + 1];
        for (var i = 0; i < waiting.Length; i++)
            waiting[i] = new();
        foreach (var cell in front)
            waiting[byte.MaxValue].Enqueue(cell);
        for (var level = byte.MaxValue; level > 0;)
        {
            if (!waiting[level].TryDequeue(out var cell))
            {
                run.ThrowIfCancelled();
                level--;
                continue;
            }

            foreach (var step in steps)
            {
                var other = cell + step;
                if ((uint)other >= (uint)clearance2.Length || clearance2[other] == 0)
                    continue;
                if (roomOf[other] < 0)
                {
                    roomOf[other] = roomOf[cell];
                    rooms[roomOf[cell]].Cells++;
                    waiting[clearance2[other]].Enqueue(other);
                    // What is wider than where we are lies behind a strait; it comes before anything narrower.
                    level = Math.Max(level, clearance2[other]);
                }
                else if (roomOf[other] != roomOf[cell])
                {
                    Meet(straits, roomOf[cell], roomOf[other], clearance2[cell] < clearance2[other] ? cell : other, Math.Min(clearance2[cell], clearance2[other]));
                }
            }
        }

        return straits;
    }

    private static void Meet(Dictionary<(int, int), (int Cell, int Clearance2)> straits, int a, int b, int cell, int clearance2)
    {
        var key = a < b ? (a, b) : (b, a);
        if (!straits.TryGetValue(key, out var known) || clearance2 > known.Clearance2 || (clearance2 == known.Clearance2 && cell < known.Cell))
            straits[key] = (cell, clearance2);
    }

    private static List<Strait> Widest(Dictionary<(int A, int B), (int Cell, int Clearance2)> straits, int rooms)
    {
        var group = Enumerable.Range(0, rooms).ToArray();
        int Root(int r)
        {
            while (group[r] != r)
                r = group[r] = group[group[r]];
            return r;
        }

        var kept = new List<Strait>();
        foreach (var (key, value) in straits.OrderByDescending(s => s.Value.Clearance2).ThenBy(s => s.Key))
        {
            int a = Root(key.A), b = Root(key.B);
            if (a == b)
                continue;
            group[Math.Max(a, b)] = Math.Min(a, b);
            kept.Add(new(key.A, key.B, value.Cell, value.Clearance2));
        }

        return kept;
    }

    private sealed class Tally
    {
        public long Cells;
        public long Core;
        public int Any;
        public int First;
    }
}
