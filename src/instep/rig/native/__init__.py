"""Programs evaluated by native code over blocks of frames, where a C compiler is at hand."""
