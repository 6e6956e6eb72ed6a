namespace AnatomyPrep.Meshing.Shape;

/// <summary>Weighted sum of squared distances to planes and points: q(p) = pᵀA p + 2 bᵀp + c, in mm² times the weights.</summary>
/// <remarks>
/// Garland, Heckbert, "Surface simplification using quadric error metrics", SIGGRAPH 1997. The points, with a small weight,
/// keep A invertible where the planes leave a direction free, and draw the minimum to the middle of the flat part (in the
/// spirit of Trettner, Kobbelt, "Fast and robust QEF minimization using probabilistic quadrics", CGF 39(2), 2020).
/// A sum of quadrics is nowhere below either, so the minimum only grows when quadrics are added.
/// </remarks>
internal struct Quadric
{
    private double _xx, _xy, _xz, _yy, _yz, _zz, _x, _y, _z, _c;

    /// <summary>Adds w·(n·p + d)², n of unit length.</summary>
    internal void AddPlane(double nx, double ny, double nz, double d, double weight)
    {
        double wx = weight * nx, wy = weight * ny, wz = weight * nz;
        _xx += wx * nx;
        _xy += wx * ny;
        _xz += wx * nz;
        _yy += wy * ny;
        _yz += wy * nz;
        _zz += wz * nz;
        _x += wx * d;
        _y += wy * d;
        _z += wz * d;
        _c += weight * d * d;
    }

    /// <summary>Adds w·|p − q|².</summary>
    internal void AddPoint(double qx, double qy, double qz, double weight)
    {
        _xx += weight;
        _yy += weight;
        _zz += weight;
        _x -= weight * qx;
        _y -= weight * qy;
        _z -= weight * qz;
        _c += weight * ((qx * qx) + (qy * qy) + (qz * qz));
    }

    internal void Add(in Quadric other)
    {
        _xx += other._xx;
        _xy += other._xy;
        _xz += other._xz;
        _yy += other._yy;
        _yz += other._yz;
        _zz += other._zz;
        _x += other._x;
        _y += other._y;
        _z += other._z;
        _c += other._c;
    }

    internal readonly double At(double x, double y, double z)
    {
        var q = (x * ((_xx * x) + (2 * ((_xy * y) + (_xz * z) + _x)))) + (y * ((_yy * y) + (2 * ((_yz * z) + _y)))) + (z * ((_zz * z) + (2 * _z))) + _c;
        return Math.Max(0, q);
    }

    /// <summary>The point where q is least, by Cramer's rule; false where the matrix is singular.</summary>
    internal readonly bool TryMinimum(out double x, out double y, out double z)
    {
        double xx = (_yy * _zz) - (_yz * _yz), xy = (_xz * _yz) - (_xy * _zz), xz = (_xy * _yz) - (_xz * _yy);
        double yy = (_xx * _zz) - (_xz * _xz), yz = (_xy * _xz) - (_xx * _yz), zz = (_xx * _yy) - (_xy * _xy);
        var determinant = (_xx * xx) + (_xy * xy) + (_xz * xz);
        var scale = -1 / determinant;
        x = scale * ((xx * _x) + (xy * _y) + (xz * _z));
        y = scale * ((xy * _x) + (yy * _y) + (yz * _z));
        z = scale * ((xz * _x) + (yz * _y) + (zz * _z));
        var trace = _xx + _yy + _zz;
        return determinant > 1e-14 * trace * trace * trace;
    }
}
