# Installs the build into a folder of its own, then builds and runs the project in examples/find-package against it.
set(prefix ${BUILD}/package-test/prefix)
set(work ${BUILD}/package-test/build)
file(REMOVE_RECURSE ${BUILD}/package-test)
set(flags "")
if(SANITIZE)
  set(flags -DCMAKE_CXX_FLAGS=-fsanitize=address,undefined)
endif()
function(run)
  execute_process(COMMAND ${ARGV} RESULT_VARIABLE status OUTPUT_VARIABLE output ERROR_VARIABLE output)
  if(NOT status EQUAL 0)
    message(FATAL_ERROR "${ARGV}\n${output}")
  endif()
  set(output "${output}" PARENT_SCOPE)
endfunction()
run(${CMAKE_COMMAND} --install ${BUILD} --prefix ${prefix})
run(${CMAKE_COMMAND} -S ${SOURCE}/examples/find-package -B ${work} -G ${GENERATOR} -DCMAKE_PREFIX_PATH=${prefix}
    -DCMAKE_CXX_COMPILER=${CXX} ${flags})
run(${CMAKE_COMMAND} --build ${work})
run(${work}/single_plane)
message(STATUS "${output}")
# By hand: C = (2.5 at 75 lag - 3.2 at 40 lag) / (500 at 90); the moment that cancels is -3.2 at 40 lag / C, of which
# 500 at 90 is fitted.
if(NOT output MATCHES "add 679\\.6 g mm at 3\\.8 deg with rotation; expected worst ratio 0\\.000")
  message(FATAL_ERROR "unexpected answer: ${output}")
endif()
foreach(file bin/trimwright share/man/man1/trimwright.1 share/man/man1/trimwright-plan.1
        share/bash-completion/completions/trimwright share/doc/trimwright/glossary.md
        share/doc/trimwright/schemas/rotor-1.json share/trimwright/configs/larkmere-fan.yaml)
  if(NOT EXISTS ${prefix}/${file})
    message(FATAL_ERROR "${file} was not installed")
  endif()
endforeach()
run(${prefix}/bin/trimwright ready ${prefix}/share/trimwright/examples/quillhaven/job.yaml)
