//! Random histories of one job beside a plain model that knows every figure.
