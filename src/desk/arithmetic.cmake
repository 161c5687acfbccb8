# The program gives the desk's numbers, to the last bit, and the same on every machine. The desk's arithmetic is WebAssembly's
# and that of emscripten's libraries: no fused multiply-add, no packets of numbers (both set where trimwright is built), the
# elementary functions of musl, complex division as the C standard shows it. The program takes these functions from Debian's
# musl, the others of the mathematical library being exact. What C++ libraries calculate in headers of their own is not used
# (hypot of three numbers). tests/desk compares the two.
enable_language(C)
find_file(TRIMWRIGHT_MUSL libc.a PATHS /usr/lib/${CMAKE_SYSTEM_PROCESSOR}-linux-musl NO_DEFAULT_PATH REQUIRED)
set(functions exp exp2 expm1 log log2 log10 log1p pow sin cos tan sincos asin acos atan atan2 sinh cosh tanh asinh acosh atanh
    hypot cbrt erf lgamma lgamma_r tgamma cabs carg cexp)
set(within exp_data log_data log2_data pow_data signgam __cexp __cos __sin __tan __expo2 __rem_pio2 __rem_pio2_large
    __math_divzero __math_invalid __math_oflow __math_uflow __math_xflow)  # what these functions call
list(TRANSFORM functions APPEND .lo)
list(TRANSFORM within APPEND .lo)
set(folder ${PROJECT_BINARY_DIR}/arithmetic)
file(MAKE_DIRECTORY ${folder})
execute_process(COMMAND ${CMAKE_AR} x ${TRIMWRIGHT_MUSL} ${functions} ${within} WORKING_DIRECTORY ${folder}
                COMMAND_ERROR_IS_FATAL ANY)
set(objects ${functions} ${within})
list(TRANSFORM objects PREPEND ${folder}/)
set_source_files_properties(${objects} PROPERTIES EXTERNAL_OBJECT ON)
add_library(trimwright_arithmetic STATIC ${PROJECT_SOURCE_DIR}/src/desk/division.c ${objects})
target_compile_options(trimwright_arithmetic PRIVATE -ffp-contract=off)
