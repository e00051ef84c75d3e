# Kernels of x86-64 instruction sets: each file has its own flags, the choice is made at run time.
include(CheckCCompilerFlag)
if(CMAKE_SYSTEM_PROCESSOR MATCHES "^(x86_64|AMD64|amd64)$" AND CMAKE_SIZEOF_VOID_P EQUAL 8)
  check_c_compiler_flag(-march=x86-64-v2 LU_FLAG_V2)
  check_c_compiler_flag(-march=x86-64-v3 LU_FLAG_AVX2)
endif()
if(LU_FLAG_V2 AND LU_FLAG_AVX2)
  set_source_files_properties(${CMAKE_CURRENT_LIST_DIR}/planes_v2.c PROPERTIES
    COMPILE_OPTIONS "-march=x86-64-v2" COMPILE_DEFINITIONS LU_HAVE_X86_KERNELS)
  set_source_files_properties(${CMAKE_CURRENT_LIST_DIR}/planes_avx2.c PROPERTIES
    COMPILE_OPTIONS "-march=x86-64-v3" COMPILE_DEFINITIONS LU_HAVE_X86_KERNELS)
  set_source_files_properties(${CMAKE_CURRENT_LIST_DIR}/planes.c PROPERTIES
    COMPILE_DEFINITIONS LU_HAVE_X86_KERNELS)
endif()
