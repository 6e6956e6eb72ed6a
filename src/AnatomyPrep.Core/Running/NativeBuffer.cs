using System.Runtime.InteropServices;

namespace AnatomyPrep.Core.Running;

/// <summary>A block of unmanaged memory, aligned to 64 bytes or to a large page, with one owner; zeroed only when asked.</summary>
public sealed unsafe class NativeBuffer<T> : SafeHandle
    where T : unmanaged
{
    private readonly IDisposable? _owner;

    public NativeBuffer(long length, bool zeroed = false)
        : base(IntPtr.Zero, ownsHandle: true)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(length);
        Length = length;
        var bytes = checked((nuint)Held(length));
        var memory = LargePages.Allocate(bytes);
        if (zeroed)
            NativeMemory.Clear(memory, bytes);
        SetHandle((IntPtr)memory);
        GC.AddMemoryPressure(checked((long)bytes));
    }

    /// <param name="memory">Room for <paramref name="length"/> elements that somebody else owns, such as a mapped file.</param>
    /// <param name="owner">Keeps it alive; disposed with the buffer.</param>
    public NativeBuffer(T* memory, long length, IDisposable owner)
        : base(IntPtr.Zero, ownsHandle: true)
    {
        Length = length;
        _owner = owner;
        SetHandle((IntPtr)memory);
    }

    /// <summary>Number of elements.</summary>
    public long Length { get; }

    public long Bytes => Length * sizeof(T);

    public override bool IsInvalid => handle == IntPtr.Zero;

    public T* Pointer => IsClosed ? throw new ObjectDisposedException(nameof(NativeBuffer<T>)) : (T*)handle;

    public ref T this[long index]
    {
        get
        {
            if ((ulong)index >= (ulong)Length)
                throw new ArgumentOutOfRangeException(nameof(index));
            return ref Pointer[index];
        }
    }

    /// <summary>Elements [start, start + count); count must fit an int.</summary>
    public Span<T> Span(long start, int count)
    {
        if (start < 0 || count < 0 || start + count > Length)
            throw new ArgumentOutOfRangeException(nameof(start));
        return new Span<T>(Pointer + start, count);
    }

    protected override bool ReleaseHandle()
    {
        if (_owner is not null)
        {
            _owner.Dispose();
            return true;
        }

        LargePages.Free((void*)handle, (nuint)Held(Length));
        GC.RemoveMemoryPressure(Held(Length));
        return true;
    }

    private static long Held(long length) => Math.Max(64, checked(length * sizeof(T)));
}
